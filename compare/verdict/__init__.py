"""Measured against nominal: conformity, matched pairs, reach when shut."""
