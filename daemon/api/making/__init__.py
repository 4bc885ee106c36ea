"""Baths made and topped up: recipes and mixtures, in which order, what to weigh."""
