"""Runs at the edges: their reports, readings, weighings, what they used."""
