"""The measuring behind the screens: worker processes with limits, and the queue of checks."""
