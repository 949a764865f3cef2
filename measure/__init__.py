"""Measure: from a solved view to panels and joints in millimetres, with covariance."""
