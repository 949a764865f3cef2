"""One module a screen: what it shows and what its buttons do."""
