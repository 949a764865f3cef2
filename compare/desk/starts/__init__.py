"""A spec of every construction to begin a dummy with."""
