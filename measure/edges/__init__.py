"""What a photo says of an edge: evidence for stripes and steps, line fits, free ends."""
