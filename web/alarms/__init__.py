"""Alarms: those that stand and the presses on them, those of the record, what each brings about."""
