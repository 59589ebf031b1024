"""A bound on the last finish by Benders decomposition over assignments of units."""
