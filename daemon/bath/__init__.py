"""What a bath is, what was done to it, and what is due: sums over the record."""
