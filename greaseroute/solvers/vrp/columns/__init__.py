"""Bound on the last finish by whole rounds: column generation over rounds that end by an aim."""
