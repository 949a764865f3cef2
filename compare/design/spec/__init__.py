"""The spec file: its form, how it is read, checked, converted and tidied."""
