"""What is said of photos: how the sheet stood, what was measured and what was not, what to do better."""
