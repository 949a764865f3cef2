"""Compare: from a measured profile and a design spec to a verdict, its reason and its cure."""
