"""A new technician's first day."""
