"""Calibration at the edges: a comparison's points, the reference, logs of other loggers."""
