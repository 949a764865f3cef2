"""Capture: from a photograph with a marker sheet to a plane in millimetres."""
