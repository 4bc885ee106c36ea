"""The devices on the tank: made from the settings, each read by a thread of its own."""
