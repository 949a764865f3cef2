"""A camera calibrated from several photos of one board or sheet."""
