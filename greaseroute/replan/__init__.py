"""The rest of a round under way."""
