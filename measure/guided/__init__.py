"""Measuring with a layout to expect: placed, chosen together, refined, joined."""
