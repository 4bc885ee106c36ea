"""The daemon: what decides, counts, records and serves."""
