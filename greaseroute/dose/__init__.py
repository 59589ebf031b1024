"""From cm3 to strokes to cartridges along an ordered list."""
