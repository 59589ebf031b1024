"""Compiled parts of the bound on a generalised tour."""
