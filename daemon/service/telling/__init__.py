"""Messages to people who are not at the tank."""
