"""Mistakes in a machine type."""
