"""What the user gets to see: the answer in words, the tables, JSON, and the photo with lines drawn in."""
