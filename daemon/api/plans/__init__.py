"""Plans as people write them: their file, kept plans, the way that a plan takes."""
