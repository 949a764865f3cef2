"""What `foldgauge help TOPIC` prints: one document a topic, readable here too."""
