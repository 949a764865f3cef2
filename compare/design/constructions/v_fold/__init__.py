"""A V-fold on the spine that carries a plane, with legs that copy its panels."""
