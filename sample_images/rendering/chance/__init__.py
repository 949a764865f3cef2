"""Random dummies and photographs."""
