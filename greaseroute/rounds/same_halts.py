"""The halts of a round found again among the ways of another team of the same site."""

from collections.abc import Iterator, Sequence

from greaseroute.rounds.team import Team
from greaseroute.visits.nodes import Item
from greaseroute.visits.work import Outfit
from greaseroute.walk.tables import Point2

Key = tuple[Outfit, str, frozenset[Item], Point2, Point2]


def same_halts(
    team: Team, halts: Sequence[Sequence[int]], *, other: Team
) -> list[tuple[int, ...]] | None:
    """The halts of each technician by the ways of ``other``: the same visits, in and out at the
    same places, the shortest of several. None where one is missing there; stores keep their
    numbers.
    """
    total_ms = other.ways.total_ms.tolist()
    found = dict(sorted(_keys(other), key=lambda each: -total_ms[each[1]]))
    mine = {way: key for key, way in _keys(team)}
    rows = [[found.get(mine[halt]) if halt >= 0 else halt for halt in row] for row in halts]
    return None if any(None in row for row in rows) else [
        tuple(halt for halt in row if halt is not None) for row in rows
    ]  # fmt: skip


def _keys(team: Team) -> Iterator[tuple[Key, int]]:
    """What each way is, apart from its number."""
    ways = team.ways
    for number, here in enumerate(ways.ways):
        visit, outfit = ways.visits[here.visit], team.outfit_of_visit[here.visit]
        ends = visit.nodes[here.way.enter].foot_m, visit.nodes[here.way.leave].foot_m
        yield (outfit, visit.work.unit.unit, visit.items, *ends), number
