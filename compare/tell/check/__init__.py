"""A check told: terminal, JSON, CSV, annotated photo, report page."""
