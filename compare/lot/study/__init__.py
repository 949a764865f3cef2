"""Statistics of a lot: capability, variance, gauge study."""
