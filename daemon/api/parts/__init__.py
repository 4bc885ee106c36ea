"""Parts at the edges: how people write them, kept parts, their area in words."""
