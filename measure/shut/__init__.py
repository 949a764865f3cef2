"""The shut dummy seen from above: its page's outline and what sticks out."""
