"""In which order: unit tours, order search, bound, schedule, plan."""
