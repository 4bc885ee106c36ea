"""What a person checks: meters against a reference, the ways to stop, the settings in force."""
