"""Sampling plans by attributes and by variables, with their risks."""
