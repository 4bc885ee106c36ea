"""What is said over the control socket: messages, each chapter's own, and the client."""
