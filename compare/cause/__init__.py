"""Why it leans or binds: faults, causes, symptoms."""
