"""Control charts, run rules and drift."""
