"""Faults of a site that no single file shows."""
