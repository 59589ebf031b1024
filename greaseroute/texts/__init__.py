"""Text read, with the place of every value: TOML, JSON, CSV; text shown, by language."""
