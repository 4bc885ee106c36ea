"""Dosing pumps: their settings, their part in the loop, what they enter into the bath's account."""
