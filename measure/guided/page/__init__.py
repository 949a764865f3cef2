"""The page's line: its level, the tabs and feet on it, and marks that tell it."""
