"""Compiled moves of the search for a generalised tour."""
