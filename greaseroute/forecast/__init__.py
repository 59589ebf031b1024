"""Grease per week and the mornings of a week."""
