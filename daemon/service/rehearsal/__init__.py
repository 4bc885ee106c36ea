"""Rehearsing a plan: `step` drives a simulated tank that was fitted to this bath, on no clock."""
