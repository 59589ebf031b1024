"""The audit of a round: every promise asked in turn, from the raw site and the plan alone."""

from collections.abc import Callable, Iterator
from datetime import datetime

from greaseroute.audit.basis import Asked, Basis
from greaseroute.audit.by_the_clock import (
    stands_tell_their_time,
    sums_add_up,
    visits_take_their_time,
    walks_take_their_time,
)
from greaseroute.audit.cartridges import (
    bags_hold_what_is_carried,
    cartridges_are_changed,
    stores_are_visited_for_something,
)
from greaseroute.audit.case import Case
from greaseroute.audit.certificate import (
    certificate_is_of_this_plan,
    fixed_times_hold,
    lower_follows,
)
from greaseroute.audit.dangers import dangers_are_told
from greaseroute.audit.dose import strokes_give_the_dose
from greaseroute.audit.finding import AuditReport, Finding, Where
from greaseroute.audit.hours import (
    shift_is_kept,
    units_stand_while_worked_on,
    waits_have_a_reason,
)
from greaseroute.audit.left import reasons_hold
from greaseroute.audit.lone_work import nobody_is_silent_too_long, somebody_listens
from greaseroute.audit.open_hours import ground_is_open
from greaseroute.audit.people import (
    calls_are_of_the_stops,
    people_are_at_one_place,
    people_are_there,
    somebody_is_at_the_controls,
)
from greaseroute.audit.procedures import (
    nobody_is_in_the_swing_circle,
    one_stands_clear,
    postures_follow,
    procedures_are_followed,
    units_are_isolated_once,
)
from greaseroute.audit.reach import (
    fittings_are_in_reach,
    fittings_are_in_sight,
    fittings_are_where_told,
    looks_are_in_sight,
    stands_hold_a_person,
)
from greaseroute.audit.room import moves_have_room
from greaseroute.audit.shut_ways import shut_ways_are_shut
from greaseroute.audit.spare_time import time_is_short
from greaseroute.audit.traffic import leaving_is_told
from greaseroute.audit.walks import walk_is_joined, walk_keeps_off
from greaseroute.audit.work import (
    counts_are_told,
    due_is_done_or_left,
    guns_suit,
    left_is_told_right,
    one_gun_one_technician,
)
from greaseroute.plan.round import RoundPlan
from greaseroute.site.model import Site

Promise = Callable[[Case], Iterator[Finding]]

PROMISES: tuple[Promise, ...] = (
    walk_is_joined,
    walk_keeps_off,
    walks_take_their_time,
    ground_is_open,
    visits_take_their_time,
    stands_tell_their_time,
    sums_add_up,
    shift_is_kept,
    units_stand_while_worked_on,
    waits_have_a_reason,
    leaving_is_told,
    units_are_isolated_once,
    postures_follow,
    procedures_are_followed,
    one_stands_clear,
    nobody_is_in_the_swing_circle,
    moves_have_room,
    somebody_is_at_the_controls,
    people_are_there,
    people_are_at_one_place,
    calls_are_of_the_stops,
    nobody_is_silent_too_long,
    somebody_listens,
    dangers_are_told,
    fittings_are_where_told,
    stands_hold_a_person,
    fittings_are_in_reach,
    fittings_are_in_sight,
    looks_are_in_sight,
    due_is_done_or_left,
    counts_are_told,
    left_is_told_right,
    reasons_hold,
    time_is_short,
    shut_ways_are_shut,
    guns_suit,
    one_gun_one_technician,
    strokes_give_the_dose,
    cartridges_are_changed,
    bags_hold_what_is_carried,
    stores_are_visited_for_something,
    certificate_is_of_this_plan,
    lower_follows,
    fixed_times_hold,
)


def audit_round(
    site: Site, plan: RoundPlan, *, asked: Asked | None = None, file: str = "round.json"
) -> AuditReport:
    """Every promise of a round that it does not keep.

    Parameters
    ----------
    site : Site
        Read from the raw files; for the rest of a round as it is now.
    plan : RoundPlan
    asked : Asked, optional
        What was asked for where it is not all that is due until the next start of the shift.
    """
    case = Case(Basis(site, plan, asked or Asked()))
    findings = tuple(_of_this_site(case)) or tuple(f for p in PROMISES for f in p(case))
    return AuditReport(
        file=file, site=site.name, at=plan.at, looked_at=_looked_at(case), findings=findings
    )


def _of_this_site(case: Case) -> Iterator[Finding]:
    """What makes it needless to look further: another site, a time that cannot be read."""
    plan, site = case.basis.plan, case.basis.site
    if plan.site != site.name:
        yield Where().finding("site", f"the plan is for {plan.site!r}, not {site.name!r}")
    names = [t.name for t in plan.technicians]
    for name in dict.fromkeys(names):
        if name not in case.basis.crew:
            yield Where(name).finding("site", "is no technician of the site")
        elif names.count(name) > 1:
            yield Where(name).finding("site", "walks twice")
    for where, text in _times(plan):
        if not _is_moment(text):
            yield Where(at=text).finding("clock", f"{where} is no time with an offset")


def _is_moment(text: str) -> bool:
    try:
        return datetime.fromisoformat(text).tzinfo is not None
    except ValueError:
        return False


def _times(plan: RoundPlan) -> Iterator[tuple[str, str]]:
    yield from (("at", plan.at), ("shift_start", plan.shift_start))
    for technician in plan.technicians:
        yield f"{technician.name}, start", technician.start
        yield f"{technician.name}, finish", technician.finish
        for stop in technician.stops:
            yield f"{technician.name}, {stop.unit}, arrive", stop.arrive
            yield f"{technician.name}, {stop.unit}, leave", stop.leave


def _looked_at(case: Case) -> dict[str, int]:
    plan = case.basis.plan
    stops = [s for t in plan.technicians for s in t.stops]
    return {
        "promises": len(PROMISES),
        "technicians": len(plan.technicians),
        "stops": len(stops),
        "stands": sum(len(s.stands) for s in stops),
        "fittings": len(case.basis.tasks),
        "left": len(plan.left),
    }
