"""Reading text with the place of every value: TOML, JSON, CSV."""
