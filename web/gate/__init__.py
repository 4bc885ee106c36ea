"""Who may what on the page, and what keeps other sites, names and too many presses away."""
