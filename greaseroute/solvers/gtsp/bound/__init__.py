"""Lower bounds on a generalised tour."""
