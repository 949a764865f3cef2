"""The pieces of a dummy laid flat, to be cut."""
