"""What takes bytes from outside, each with what it may refuse them by."""
