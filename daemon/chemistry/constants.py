"""Constants of electrolysis."""

FARADAY_C_MOL = 96485.33212
"""Charge of one mole of electrons, C/mol (CODATA 2018; exact since 2019, written to ten digits)."""

COULOMBS_PER_AH = 3600.0
"""One ampere-hour in coulombs: exact, by the length of the hour."""
