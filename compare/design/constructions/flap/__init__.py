"""A flap on the page, pulled up by a strap from the plane's outer edge."""
