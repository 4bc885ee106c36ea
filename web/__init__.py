"""The page: it reads the record and asks the daemon, and holds nothing of its own."""
