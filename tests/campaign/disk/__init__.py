"""What a disk is asked to do for the record, and what a power cut leaves of it."""
