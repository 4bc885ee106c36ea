"""What to connect: documents, and the circuits that they are drawn from."""
