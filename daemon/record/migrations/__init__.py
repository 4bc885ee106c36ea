"""How a record's tables came to be, step by step; run when the daemon opens its record."""
