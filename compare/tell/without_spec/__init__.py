"""A dummy judged by the rules of the craft, told: terminal and JSON."""
