"""Postures that a round was prepared for and that nobody takes: what they close is opened again.

A unit closes the ground of every posture that it may be worked in. Where there was no time to move
it, that ground was kept off for nothing, and what would be in reach from it was left out.
"""

from collections.abc import Callable
from dataclasses import replace

from greaseroute.rounds.prepare import Prepared
from greaseroute.rounds.solved import Solved

Again = Callable[[frozenset[tuple[str, str]]], Solved]


def without_untaken(solved: Solved, again: Again) -> Solved:
    """What was found, or what ``again`` finds without the postures that nobody takes, where these
    keep something out of reach and more is done without them."""
    untaken = postures_untaken(solved)
    if not untaken or not solved.complete or not closes_something_off(solved.ready):
        return solved
    try:
        other = again(untaken)
    except KeyboardInterrupt:
        solved.give_up_proof()
        return replace(solved, complete=False, proof=None)
    better = other.complete and done_weight(other) > done_weight(solved)
    (solved if better else other).give_up_proof()
    return other if better else solved


def postures_untaken(solved: Solved) -> frozenset[tuple[str, str]]:
    """Postures beside the one a unit stands in, (unit, posture), that no visit asks for."""
    reaches = [s.reach for o in solved.ready.outlooks for s in o.surveyed.values()]
    ready = {(r.work.unit.unit, p) for r in reaches for p in r.stands if p != r.now}
    visits = [call.visit for call in solved.calls]
    return frozenset(ready - {(v.work.unit.unit, p) for v in visits for p in v.postures})


def closes_something_off(ready: Prepared) -> bool:
    """Whether the ground of further postures keeps something out of reach at some unit."""
    return any(s.closed_off for o in ready.outlooks for s in o.surveyed.values())


def done_weight(solved: Solved) -> int:
    """The weight of all that is served."""
    return sum(call.visit.work.weight - call.visit.loss for call in solved.calls)
