"""Plans: writing, keeping, rehearsing and starting them."""
