"""Where one stands: reach, candidates, dominance."""
