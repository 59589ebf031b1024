"""Promises about hours: units stand while worked on, everyone is done before the shift."""

from collections.abc import Iterator

from greaseroute.audit.case import Case
from greaseroute.audit.finding import Finding, Where
from greaseroute.audit.house_rules import CLOCK_MS
from greaseroute.audit.moments import sets_off, unit_stands
from greaseroute.audit.people import waits_for_people
from greaseroute.plan.round import Stop
from greaseroute.units import MS_PER_S

FAR_MS = 1 << 50


def shift_is_kept(case: Case) -> Iterator[Finding]:
    """The plan speaks of the right shift, nobody sets off too early or comes back too late."""
    basis = case.basis
    off_ms = abs(basis.clock.of_text(basis.plan.shift_start) - basis.end_ms)
    if off_ms > CLOCK_MS:
        what = "the end told is not the next start of the shift"
        where = Where(at=basis.plan.shift_start)
        yield where.finding("shift", what, off=off_ms / MS_PER_S, measure="s")
    for technician, walker in zip(basis.plan.technicians, basis.walkers, strict=True):
        start, finish = (basis.clock.of_text(t) for t in (technician.start, technician.finish))
        early_ms = 0 if walker is None else sets_off(walker, basis.clock) - start
        for what, at, off in (
            ("sets off too early", technician.start, early_ms),
            ("is back after the shift has started", technician.finish, finish - basis.end_ms),
            ("is back before setting off", technician.finish, start - finish),
        ):
            if off > CLOCK_MS:
                where = Where(technician.name, at=at)
                yield where.finding("shift", what, off=off / MS_PER_S, measure="s")


def units_stand_while_worked_on(case: Case) -> Iterator[Finding]:
    """Work at a unit begins when it has come and ends before it goes, and before the shift."""
    for technician, _, stop in case.basis.stops():
        unit = case.basis.units.get(stop.unit)
        if stop.reload or unit is None:
            continue
        come, go = unit_stands(unit, case.basis.clock)
        begin_ms, leave_ms = _begin_ms(case, stop), case.basis.clock.of_text(stop.leave)
        for what, at, off in (
            (
                "is worked on before it stands there",
                stop.arrive,
                (-FAR_MS if come is None else come) - begin_ms,
            ),
            (
                "is worked on when it must leave",
                stop.leave,
                leave_ms - (FAR_MS if go is None else go),
            ),
            ("is worked on after the shift has started", stop.leave, leave_ms - case.basis.end_ms),
        ):
            if off > CLOCK_MS:
                where = Where(technician.name, stop.unit, at=at)
                yield where.finding("windows", what, off=off / MS_PER_S, measure="s")


def _begin_ms(case: Case, stop: Stop) -> float:
    return case.basis.clock.of_text(stop.arrive) + stop.wait_s * MS_PER_S


def waits_have_a_reason(case: Case) -> Iterator[Finding]:
    """Waiting at a unit ends when it comes, somebody is at hand, or its ground opens."""
    basis = case.basis
    for technician, _, stop in basis.stops():
        unit = basis.units.get(stop.unit)
        if stop.wait_s * MS_PER_S <= CLOCK_MS or unit is None:
            continue
        begin_ms = _begin_ms(case, stop)
        come, _ = unit_stands(unit, basis.clock)
        reasons = [] if come is None else [come]
        reasons += [b for shut in case.ground.by_the_clock for _, b in shut.spans]
        known = any(abs(begin_ms - reason) <= 2 * CLOCK_MS for reason in reasons)
        if not known and not waits_for_people(case, stop):
            where = Where(technician.name, stop.unit, at=stop.arrive)
            what = "waits at the unit for nothing that is known"
            yield where.finding("waits", what, off=stop.wait_s, measure="s")
