"""A folder as a project: what is remembered, dummies, checks; every bit of it a file of the user's."""
