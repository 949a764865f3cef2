"""Measuring with no design to expect: stripes, assembled to a dummy, measured and confirmed."""
