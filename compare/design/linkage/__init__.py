"""The design as a linkage: steps that lay it out, poses, loops, rates."""
