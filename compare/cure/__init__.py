"""What to do at the bench: moves, plans, and their order."""
