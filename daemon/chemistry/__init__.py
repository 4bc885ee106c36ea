"""Pure: metals, the law of electrolysis and what follows from it."""
