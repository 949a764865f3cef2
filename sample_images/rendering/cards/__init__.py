"""The card dummy as solids, and where its joints lie."""
