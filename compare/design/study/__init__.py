"""A design studied before anything is cut: motion, contact, tolerance, soundness."""
