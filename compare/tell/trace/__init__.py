"""A traced dummy told."""
