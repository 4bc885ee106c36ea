"""Who may act on the page: operators, their passwords, and the sessions that they sign in to."""
