"""The crew's problem, where benchmarks look for it."""

from greaseroute.solvers.vrp.problem import NO_LIMIT_MS, CrewProblem

__all__ = ["NO_LIMIT_MS", "CrewProblem"]
