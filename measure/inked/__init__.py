"""Inked near ends: dark lines one card wide, measured as such."""
