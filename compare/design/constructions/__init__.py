"""The constructions of the trade, each as a linkage."""
