"""The design: the spec in trade terms, and the linkage it makes."""
