"""The crew's solver, where benchmarks look for it."""

from greaseroute.solvers.vrp.solve import solve_crew

__all__ = ["solve_crew"]
