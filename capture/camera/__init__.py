"""From marks to a camera: lens model, adjustment, calibration, and the solved view."""
