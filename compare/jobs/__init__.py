"""The jobs from start to end: check, measure, several photos, shut photo."""
