"""The promise about the proof: its value is this plan's own clock, its gap is what it says."""

from collections.abc import Iterator

from greaseroute.audit.case import Case
from greaseroute.audit.finding import Finding, Where
from greaseroute.audit.moments import Clock
from greaseroute.audit.visits import Visit
from greaseroute.plan.round import RoundPlan, TechnicianPlan
from greaseroute.units import MS_PER_S

NEAR_S = 0.005
NEAR_PCT = 0.001


def certificate_is_of_this_plan(case: Case) -> Iterator[Finding]:
    """The value is the plan's own time less what no route changes; the gap follows from it."""
    bound, clock_s = case.basis.plan.bound, route_time_s(case.basis.plan, case.basis.clock)
    off_s = abs(bound.value_s - clock_s)
    if off_s > NEAR_S:
        what = f"the value told is {bound.value_s:.3f} s, the plan's own clock gives {clock_s:.3f}"
        yield Where().finding("certificate", what, off=off_s, measure="s")
    over_s = bound.lower_s - clock_s
    if over_s > NEAR_S:
        what = "the bound is above the plan"
        yield Where().finding("certificate", what, off=over_s, measure="s")
    gap = 100.0 * (clock_s - bound.lower_s) / clock_s if clock_s > 0 else 0.0
    if bound.gap_pct is not None and abs(gap - bound.gap_pct) > NEAR_PCT:
        what = f"the gap told is {bound.gap_pct:.4f} %, by the plan's own clock it is {gap:.4f}"
        yield Where().finding("certificate", what, off=abs(gap - bound.gap_pct), measure="%")


def route_time_s(plan: RoundPlan, clock: Clock) -> float:
    """What the route decides, from the plan alone: seconds from start to finish of those who visit
    something, less their idle time and the fixed part of their stops.

    Where nobody visits anything, all walks together.
    """
    crew = _crew(plan)
    spent_ms = sum(clock.of_text(t.finish) - clock.of_text(t.start) for t in crew)
    fixed_s = sum(stop.fixed_s for t in crew for stop in t.stops)
    return spent_ms / MS_PER_S - fixed_s - sum(t.wait_s for t in crew)


def _crew(plan: RoundPlan) -> list[TechnicianPlan]:
    busy = [t for t in plan.technicians if any(not s.reload for s in t.stops)]
    return busy or list(plan.technicians)


def _walking(plan: RoundPlan) -> list[TechnicianPlan]:
    """Those who set off at all; where nobody does, everybody."""
    return [t for t in plan.technicians if t.stops or t.walk_m > 0] or list(plan.technicians)


def lower_follows(case: Case) -> Iterator[Finding]:
    """The least time of the route is the value less what an earlier last finish could save."""
    plan, clock = case.basis.plan, case.basis.clock
    bound = plan.bound
    if bound.no_sooner_s is None or not plan.technicians:
        return
    last_s = max(clock.of_text(t.finish) for t in _walking(plan)) / MS_PER_S
    saved_s = len(_crew(plan)) * (last_s - bound.no_sooner_s)
    lower_s = max(0.0, route_time_s(plan, clock) - saved_s)
    off_s = abs(bound.lower_s - lower_s)
    if off_s > NEAR_S * (1 + len(plan.technicians)):
        what = f"the bound told is {bound.lower_s:.3f} s, by the last finish it is {lower_s:.3f}"
        yield Where().finding("certificate", what, off=off_s, measure="s")


def fixed_times_hold(case: Case) -> Iterator[Finding]:
    """What is told as fixed at a stop is isolation, pumping, procedures, and no more or less.

    The height bands count at their least, which may be below that of the stand taken.
    """
    for (t, _), visit in case.visits.items():
        stop = visit.stop
        most_s, bands_s = _fixed_s(case, visit)
        parts = 3 + sum(len(s.fittings) + len(s.again) + len(s.looks) for s in stop.stands)
        off_s = max(stop.fixed_s - most_s, most_s - bands_s - stop.fixed_s)
        if off_s * MS_PER_S > parts:
            where = Where(case.basis.plan.technicians[t].name, stop.unit)
            what = (
                f"{stop.fixed_s:.3f} s are told as fixed, pumping and procedures take {most_s:.3f}"
            )
            yield where.finding("certificate", what, off=off_s, measure="s")


def _fixed_s(case: Case, visit: Visit) -> tuple[float, float]:
    """Seconds at a stop that no route changes, and how many of them are for height bands."""
    rules = case.basis.site.rules
    fixed_s, bands_s = visit.first_s(), 0.0
    for number, stand in enumerate(visit.stop.stands):
        heights_m = case.heights_m(visit, number)
        fixed_s += sum(visit.fitting_s(f) for f in stand.fittings)
        fixed_s += visit.again_s(stand, heights_m) + visit.procedure_s(number)
        fixed_s += len(stand.looks) * rules.look_s
        fixed_s += visit.event_s(number) if stand.event == "turn" else 0.0
        bands_s += visit.bands_s(stand, heights_m)
    return fixed_s, bands_s
