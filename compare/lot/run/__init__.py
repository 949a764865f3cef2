"""Which photo is which sample, and checking them all."""
