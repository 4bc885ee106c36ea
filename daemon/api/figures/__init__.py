"""Sums that people ask for, and their answers in words."""
