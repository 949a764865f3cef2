"""Parallel folds one on the other: the first stands on the base, each further one on the plane below."""
