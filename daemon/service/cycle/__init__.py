"""The loop and its thread: what it sees in each cycle, and what it hands on."""
