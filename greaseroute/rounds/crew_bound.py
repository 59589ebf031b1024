"""Lower bounds of the crew's round."""

from greaseroute.rounds.problem import CrewBound, CrewProblem, CrewSolution


def bound_of(problem: CrewProblem, solution: CrewSolution, *, limit_s: float) -> CrewBound:
    """A proved lower bound of the last finish for the same visits."""
    raise NotImplementedError
