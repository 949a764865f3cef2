"""The same dummy at several openings: its movement as seen, beside its lengths and its design."""
