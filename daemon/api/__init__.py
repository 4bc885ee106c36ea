"""What comes in and goes out: files, forms, socket messages, each with its units checked."""
