"""The command line: what a person types, and what is said back."""
