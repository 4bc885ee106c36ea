"""The first page: how the tank is, what needs somebody, and the acts."""
