"""A new technician's first day: what to meet, in which order, at a learner's pace."""
