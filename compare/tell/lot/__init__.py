"""A lot told: terminal, page, charts, plans, study."""
