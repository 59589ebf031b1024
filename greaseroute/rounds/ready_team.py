"""From a prepared round to its team: ways, walking times, legs by the clock, windows."""

from collections.abc import Mapping, Sequence

from greaseroute.rounds.people import hands_of
from greaseroute.rounds.prepare import Prepared
from greaseroute.rounds.team import Member, SiteWays, Team, site_ways
from greaseroute.site.morning import start_of, unit_window
from greaseroute.visits.visit import UnitVisit
from greaseroute.visits.work import Outfit, outfit_of
from greaseroute.walk.legs import Legs
from greaseroute.walk.tables import Walks


def build_team(ready: Prepared) -> Team:
    """Ways, walking times and windows of a prepared round."""
    crew, site = ready.technicians, ready.site
    visits: list[tuple[Outfit, UnitVisit]] = [
        (outlook.outfit, visit)
        for outlook in ready.outlooks
        for unit, full in outlook.visits.items()
        for visit in (full, *outlook.lesser[unit])
    ]
    ways = site_ways([visit for _, visit in visits], ready.outlooks[0].row)
    walks = {outlook.outfit: outlook.walks for outlook in ready.outlooks}
    stores = sum(p.kind == "store" for p in site.ground.places)
    return Team(
        site=site,
        members=tuple(
            Member(
                technician=t,
                start=2 * k,
                finish=2 * k + 1,
                start_ms=start_of(t, ready.morning),
                end_ms=ready.morning.end_ms,
                legs=_legs(ready, walks, outfit_of(t, site)),
            )
            for k, t in enumerate(crew)
        ),
        ways=ways,
        outfit_of_visit=tuple(outfit for outfit, _ in visits),
        windows=_windows(ready, ways),
        hands=hands_of(site, ready.morning),
        length_mm=ready.outlooks[0].walks.mm,
        stores=tuple(range(2 * len(crew), 2 * len(crew) + stores)),
    )


def _legs(ready: Prepared, walks: Mapping[Outfit, Walks], outfit: Outfit) -> Legs:
    mine = walks[outfit]
    return Legs(mine.spans, mine, ready.yard.grounds, outfit.speed_m_s)


def _windows(ready: Prepared, ways: SiteWays) -> dict[str, tuple[int, int]]:
    """When each unit may be worked on: while it stands and its own ground is open."""
    units = {unit.unit: unit for unit in ready.site.units}
    windows = {}
    for name in ways.units:
        feet = [n.foot_m for v in ways.visits if v.work.unit.unit == name for n in v.nodes]
        window = unit_window(units[name], ready.morning)
        windows[name] = open_part(window, ready.yard.is_free(feet), ready.yard.begins)
    return windows


def open_part(
    window: tuple[int, int], is_open: Sequence[bool], begins: Sequence[int]
) -> tuple[int, int]:
    """The longest part of a window through which the ground stays open."""
    best, begin = (window[0], window[0]), window[0]
    for k, free in enumerate(is_open):
        end = begins[k + 1] if k + 1 < len(begins) else window[1]
        if not free:
            begin = max(window[0], end)
        elif min(end, window[1]) - begin > best[1] - best[0]:
            best = (begin, min(end, window[1]))
    return best
