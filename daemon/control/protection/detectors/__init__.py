"""The detectors: each finds its causes in the readings of a plating run. Pure."""
