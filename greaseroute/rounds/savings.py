"""What more time or one more technician would save, where a morning is too short: computed."""

from collections.abc import Mapping
from dataclasses import replace

from greaseroute.rounds.team import Team, crew_problem
from greaseroute.solvers.vrp.solve import solve_crew
from greaseroute.units import S_PER_MIN, ms

MORE_MIN = 10
# Steps of search for each question: enough to see what changes, a fraction of the plan's own.
STEPS = 3_000


def savings(team: Team, *, lost: int, skip_loss: Mapping[str, int], seed: int) -> tuple[str, ...]:
    """Notes on the weight that would be served as well with more time, and with one more hand.

    ``lost`` is the weight that the plan leaves out.
    """
    asked = (
        (f"{MORE_MIN} more minutes", longer(team, ms(MORE_MIN * S_PER_MIN))),
        (f"one more technician equipped as {team.members[0].technician.name}", with_one_more(team)),
    )
    return tuple(
        _note(what, lost=lost, left=_least_lost(changed, skip_loss=skip_loss, seed=seed))
        for what, changed in asked
    )


def longer(team: Team, extra_ms: int) -> Team:
    """The same morning with a later end; units that stand until its end stand until then."""
    end_ms = max(m.end_ms for m in team.members)
    return replace(
        team,
        members=tuple(replace(m, end_ms=m.end_ms + extra_ms) for m in team.members),
        windows={
            unit: (first, last + extra_ms if last >= end_ms else last)
            for unit, (first, last) in team.windows.items()
        },
    )


def with_one_more(team: Team) -> Team:
    """The same crew and a second one of its first technician."""
    return replace(team, members=(*team.members, team.members[0]))


def _least_lost(team: Team, *, skip_loss: Mapping[str, int], seed: int) -> int:
    problem = crew_problem(team, skip_loss=skip_loss)
    return solve_crew(problem, seed=seed, iterations=STEPS, bound_rounds=0).lost


def _note(what: str, *, lost: int, left: int) -> str:
    if left >= lost:
        return f"With {what} nothing more would be done."
    share = 100 * (lost - left) / lost
    return (
        f"With {what} {share:.0f} % of what is left out would be done, counted by how urgent it is."
    )
