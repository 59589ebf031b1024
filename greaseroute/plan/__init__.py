"""The records that are handed on: a round, a week, a first day."""
