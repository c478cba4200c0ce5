"""The best whole set-up within a budget: what may change, the search through it, what to build first."""
