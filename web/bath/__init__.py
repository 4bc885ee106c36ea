"""The bath: what is due, what was done to it, its account, recipes and analyses."""
