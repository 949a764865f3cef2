"""A design told: text, picture, motion, template."""
