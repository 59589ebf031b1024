"""Compiled parts of the column generation: labels, completion bounds, joining."""
