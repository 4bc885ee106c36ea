"""Protection: what can go wrong, how it is seen, and what is done about it. Pure."""
