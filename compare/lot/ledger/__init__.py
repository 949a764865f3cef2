"""Every inspection kept: tables, reading, writing, history, export."""
