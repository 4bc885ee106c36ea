"""The proof test in the loop's process: led in a thread of its own, by ordinary means."""
