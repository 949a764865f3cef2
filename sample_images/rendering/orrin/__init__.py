"""The sample photographs, one by one."""
