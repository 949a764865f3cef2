"""All sentences about lots."""
