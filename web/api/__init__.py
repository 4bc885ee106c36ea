"""The HTTP API for machines: its operations, the document made from them, and its own answers."""
