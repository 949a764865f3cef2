"""The parallel fold with its plane on legs: even or uneven, one-sided, one leg or several under a half."""
