"""The proof test (IEC 61511's term): each way to stop is used once, the meter is witness. Pure."""
