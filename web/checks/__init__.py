"""What a person checks at the tank: meters against a reference, and the proof test."""
