"""How one gets there: footprint, free ground, visibility, paths and matrix."""
