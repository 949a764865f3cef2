"""What is said of a design and of its pieces."""
