"""The settings file, and those tables that belong to no folder of their own."""
