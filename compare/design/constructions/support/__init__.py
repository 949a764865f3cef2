"""A plain support from the other page, instead of one side of the parallel fold."""
