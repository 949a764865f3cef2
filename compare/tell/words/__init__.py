"""All sentences a person reads."""
