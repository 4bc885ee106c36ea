"""Rehearsals in words, mishaps among them, and what became of one."""
