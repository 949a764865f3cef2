"""Joints: where lines meet, with the covariance of all; several photos; the hand's points."""
