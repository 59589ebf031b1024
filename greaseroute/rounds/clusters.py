"""The generalised travelling-salesman solver, where benchmarks look for it."""

from greaseroute.solvers.gtsp.solve import solve_clusters

__all__ = ["solve_clusters"]
