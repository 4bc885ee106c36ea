"""A bath at the edges: its table in the settings, entries, its account and what is due in words."""
