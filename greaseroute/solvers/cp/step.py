"""One step of a CP-SAT model: solved by one worker with a counted effort, so that it repeats."""

from collections.abc import Iterable
from dataclasses import dataclass

from ortools.sat.python import cp_model


@dataclass(frozen=True, slots=True)
class ModelStep:
    """What a step reached: value, proved bound, whether the two are equal, and the solver."""

    value: int
    bound: int
    proved: bool
    solver: cp_model.CpSolver


def solved(model: cp_model.CpModel, *, work: float, seed: int) -> ModelStep | None:
    """Solve a model for its own objective.

    Parameters
    ----------
    model : CpModel
    work : float
        CP-SAT's deterministic time (about seconds).
    seed : int

    Returns
    -------
    ModelStep, or None where no solution was found.
    """
    # One worker and deterministic time: the same model ends the same way on any machine.
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = seed % 2**31
    solver.parameters.max_deterministic_time = work
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None
    value, bound = round(solver.objective_value), round(solver.best_objective_bound)
    return ModelStep(value, bound, status == cp_model.OPTIMAL, solver)


def set_hints(model: cp_model.CpModel, hints: Iterable[tuple[cp_model.IntVar, bool]]) -> None:
    """Give the solver values to begin with, in place of those of the step before."""
    model.clear_hints()  # type: ignore[no-untyped-call]
    for var, value in hints:
        model.add_hint(var, int(value))
