"""The control socket's server, and what it answers by itself."""
