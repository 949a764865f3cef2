"""The movement as photos at several openings show it, told: table, JSON, chart."""
