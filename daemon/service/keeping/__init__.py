"""What persons hand in, kept in the asker's thread."""
