"""A bound on the last finish by one linear program over all routes, with cuts."""
