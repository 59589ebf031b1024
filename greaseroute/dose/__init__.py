"""From what a joint should get to strokes and cartridges, and which grease fits which joint."""
