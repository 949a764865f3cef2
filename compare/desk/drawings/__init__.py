"""Drawings of the screens, as SVG made from numbers."""
