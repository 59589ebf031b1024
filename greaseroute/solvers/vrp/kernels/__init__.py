"""Compiled parts of the search for a crew's routes."""
