"""Constraint programs: coverage of lessons, levelling of a week."""
