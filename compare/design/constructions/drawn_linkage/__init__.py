"""A linkage given by its joints and panels, whatever it is called."""
