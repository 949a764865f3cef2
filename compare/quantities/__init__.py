"""Named lengths and angles with gradients on all that was measured."""
