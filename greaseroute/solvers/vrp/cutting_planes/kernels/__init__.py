"""Compiled parts of the cutting-plane bound."""
