"""The work list: every joint of every unit, owed or not, and why."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal
from zoneinfo import ZoneInfo

from pydantic import Field

from greaseroute.catalogue.joint import Interval, Joint
from greaseroute.errors import UnknownName
from greaseroute.intervals.interval import OwnInterval, shortened
from greaseroute.intervals.meter import HoursRun, RanBack, Reading, hours_between
from greaseroute.intervals.owed import ORDER, Judgement, LookAhead, Since, judge, never_recorded
from greaseroute.intervals.services import UnitHistory, unit_history
from greaseroute.records import Record
from greaseroute.site.crew import Severity
from greaseroute.site.fleet import Unit
from greaseroute.site.model import Site
from greaseroute.site.moment import in_zone, time_of_day

Status = Literal["due", "ahead", "not due", "look only", "never pumped"]

NEVER_PUMPED = "not a lubrication point: never pumped"
LOOK_ONLY = "fed by a central system: look, do not pump"
BY_OPERATOR = "greased by the operator during the shift: check that it was done"


class DueItem(Record):
    """One joint of one unit at the moment planned for.

    ``due`` is True for ``status`` due and ahead (treated as due today). ``since_days`` counts
    calendar days. ``overdue_ratio`` is the used share of the interval: 1.0 is just due; a joint
    never recorded is weighed as if it was last greased a week ago. ``interval_h`` is after
    severity. ``fittings`` counts those that are due, or all where none is; ``due_fittings`` names
    them where they are not all. ``troubles`` are what the record tells beside: blocked, skipped,
    takes more.
    """

    unit: str
    type: str
    joint: str
    due: bool
    status: Status
    reason: str
    interval: str
    interval_h: float | None = None
    interval_days: float | None = None
    since_h: float | None = None
    since_days: float | None = None
    left_h: float | None = None
    overdue_h: float = Field(default=0.0, ge=0)
    overdue_days: float = Field(default=0.0, ge=0)
    overdue_ratio: float = Field(default=0.0, ge=0)
    critical: int
    fittings: int
    due_fittings: tuple[str, ...] = ()
    troubles: tuple[str, ...] = ()


def unit_joints(site: Site, unit: Unit) -> tuple[Joint, ...]:
    """The joints of ``unit`` with the attachments it carries, in catalogue order."""
    return site.machine(unit).joints


def unit_severity(site: Site, unit: Unit) -> Severity | None:
    """The severity rule named by ``unit``, or None where it names none.

    Raises
    ------
    UnknownName
        A rule that the site does not give.
    """
    if unit.severity is None:
        return None
    for severity in site.severities:
        if severity.name == unit.severity:
            return severity
    raise UnknownName(
        f"unit {unit.unit}",
        f"severity {unit.severity!r}",
        limit=", ".join(s.name for s in site.severities) or "none",
        next_step="add a [[severity]] to site.toml or mend fleet.csv",
    )


def calendar_days(first: datetime, last: datetime, *, zone: ZoneInfo) -> int:
    """Midnights passed in ``zone`` between two moments.

    Days are counted by the calendar: a joint of 7 days greased at 05:47 one Monday is due at
    05:30 the next.
    """
    days: date = in_zone(last, zone).date()
    return (days - in_zone(first, zone).date()).days


def _since(service: Reading, history: UnitHistory, *, zone: ZoneInfo) -> Since:
    run = hours_between(service, history.now, trace=history.trace, day=history.day)
    days = calendar_days(service.at, history.now.at, zone=zone)
    if not isinstance(run, HoursRun):
        return Since(run, days)
    return Since(run.hours_h, days, "; ".join(t for t in (run.told, carried_text(history)) if t))


def carried_text(history: UnitHistory) -> str:
    """What of the meter is carried forward since it was last read; empty where nothing is."""
    hours_h, read_at = round(history.carried_h, 1), history.read_at
    if hours_h == 0 or read_at is None:
        return ""
    return f"{hours_h:g} h of it from hours per day since {read_at.day} {read_at:%b}"


def _item(unit: Unit, joint: Joint, *, status: Status, reason: str) -> DueItem:
    return DueItem(
        unit=unit.unit,
        type=unit.type,
        joint=joint.name,
        due=False,
        status=status,
        reason=reason,
        interval=joint.interval_class,
        critical=joint.critical,
        fittings=len(joint.fittings),
    )


def _judged(base: DueItem, verdict: Judgement, *, own: OwnInterval, since: Since | None) -> DueItem:
    since_h = since.hours_h if since else None
    return base.model_copy(
        update={
            "due": verdict.status != "not due",
            "status": verdict.status,
            "reason": verdict.reason,
            "interval": own.label,
            "interval_h": own.hours_h,
            "interval_days": own.days,
            "since_h": None if isinstance(since_h, RanBack) else since_h,
            "since_days": float(since.days) if since else None,
            "left_h": verdict.left_h,
            "overdue_h": verdict.overdue_h,
            "overdue_days": verdict.overdue_days,
            "overdue_ratio": verdict.ratio,
        }
    )


def _joint_item(
    unit: Unit, joint: Joint, *, severity: Severity | None, history: UnitHistory, ahead: LookAhead
) -> DueItem:
    if joint.never_pump:
        return _item(unit, joint, status="never pumped", reason=NEVER_PUMPED)
    if joint.central:
        return _item(unit, joint, status="look only", reason=LOOK_ONLY)
    if joint.done_by == "operator":
        return _item(unit, joint, status="look only", reason=BY_OPERATOR)
    assert isinstance(joint.interval, Interval)  # the record refuses a pumped joint without one
    base = _item(unit, joint, status="not due", reason="")
    verdicts: dict[Reading | None, _Verdict] = {}
    last = history.last_of_fittings(joint)
    for service in last.values():
        if service not in verdicts:
            own = shortened(joint.interval, _in_force(severity, service, history.now.at))
            verdicts[service] = _verdict(own, service, history=history, ahead=ahead)
    worst = max(verdicts.values(), key=lambda v: (ORDER[v.judgement.status], v.judgement.ratio))
    item = _judged(base, worst.judgement, own=worst.own, since=worst.since)
    due = tuple(name for name, done in last.items() if verdicts[done].judgement.status != "not due")
    if not due or len(due) == len(last):
        return item
    others = f"{item.reason} ({len(due)} of {len(last)} fittings: {', '.join(due)})"
    return item.model_copy(update={"fittings": len(due), "due_fittings": due, "reason": others})


@dataclass(frozen=True, slots=True)
class _Verdict:
    """The verdict on fittings that were last served together."""

    own: OwnInterval
    judgement: Judgement
    since: Since | None


def _in_force(severity: Severity | None, service: Reading | None, now: datetime) -> Severity | None:
    """The severity rule where its season met the days since the last service, or today."""
    if severity is None:
        return None
    first = now.date() if service is None else service.at.date()
    return severity if severity.met_between(min(first, now.date()), now.date()) else None


def _verdict(
    own: OwnInterval, service: Reading | None, *, history: UnitHistory, ahead: LookAhead
) -> _Verdict:
    if service is None:
        judgement = never_recorded(own, hours_per_day=history.day.hours_h)
        return _Verdict(own, judgement, None)
    zone = history.now.at.tzinfo
    assert isinstance(zone, ZoneInfo)
    since = _since(service, history, zone=zone)
    return _Verdict(own, judge(own, since, ahead=ahead), since)


def _with_troubles(site: Site, item: DueItem) -> DueItem:
    """The item with what the record tells of its joint, in its reason as well where it is due."""
    texts = tuple(
        f"{trouble.fitting}: {trouble.text}" if trouble.fitting else trouble.text
        for trouble in site.past.troubles
        if (trouble.unit, trouble.joint) == (item.unit, item.joint)
    )
    if not texts:
        return item
    reason = "; ".join((item.reason, *texts)) if item.due else item.reason
    return item.model_copy(update={"troubles": texts, "reason": reason})


def _look_ahead(site: Site, at: datetime, *, next_round: datetime | None) -> LookAhead:
    """Hours by the site's rule; days to the next round, the next working day if not told."""
    hours_h = site.rules.look_ahead_h
    if next_round is None:
        if hours_h <= 0:
            return LookAhead(0.0, 0.0)
        zone_day = in_zone(at, ZoneInfo(site.time_zone))
        passed = site.work_days.next_after(zone_day.date()) - zone_day.date()
        next_round = at + passed
    zone = ZoneInfo(site.time_zone)
    return LookAhead(hours_h, calendar_days(at, next_round, zone=zone))


def work_list(
    site: Site, at: datetime, *, next_round: datetime | None = None
) -> tuple[DueItem, ...]:
    """Every joint of every unit at ``at``, in fleet order, then catalogue order.

    ``next_round`` is the moment of the round after this one (default: that of the next working
    day); what falls due before it is treated as due. A naive ``at`` is local time of the site.

    Raises
    ------
    UnknownName
        A unit naming a severity that the site does not give.
    """
    zone = ZoneInfo(site.time_zone)
    at = in_zone(at, zone)
    ahead = _look_ahead(site, at, next_round=next_round)
    items = []
    for unit in site.units:
        severity, history = unit_severity(site, unit), _history(site, unit, at)
        items += [
            _with_troubles(
                site, _joint_item(unit, joint, severity=severity, history=history, ahead=ahead)
            )
            for joint in unit_joints(site, unit)
        ]
    return tuple(items)


def checks_due(
    site: Site, at: datetime, *, next_round: datetime | None = None
) -> dict[str, tuple[str, ...]]:
    """The daily checks that are due at ``at``, by unit: as joints are, by hours, days or shift.

    A check never recorded is due.
    """
    zone = ZoneInfo(site.time_zone)
    at = in_zone(at, zone)
    ahead = _look_ahead(site, at, next_round=next_round)
    seen = {(c.unit, c.check): Reading(in_zone(c.at, zone), c.meter_h) for c in site.past.checks}
    found = {}
    for unit in site.units:
        history = _history(site, unit, at)
        names = []
        for look in site.machine(unit).looks:
            done = [seen.get((unit.unit, name)) for name in (look.name, *look.formerly)]
            last = max((reading for reading in done if reading is not None), default=None)
            own = shortened(look.interval, None)
            if _verdict(own, last, history=history, ahead=ahead).judgement.status != "not due":
                names.append(look.name)
        found[unit.unit] = tuple(names)
    return found


def _history(site: Site, unit: Unit, at: datetime) -> UnitHistory:
    """What is known of a unit; a site read with its record has every meter carried to ``at``."""
    listed_at = site.planned_for if site.past.events == 0 else None
    return unit_history(
        unit, at, zone=ZoneInfo(site.time_zone), services=site.last_services,
        readings=site.meter_readings, listed_at=listed_at,
        shift_start=time_of_day(site.shift_start), work_days=site.work_days,
    )  # fmt: skip


def carried_note(site: Site, at: datetime) -> str:
    """One sentence where hours up to ``at`` are reckoned from hours per day; else empty."""
    at = in_zone(at, ZoneInfo(site.time_zone))
    each = [h for h in (_history(site, unit, at) for unit in site.units) if h.carried_h > 0]
    if not each:
        return ""
    hours_h, first = sum(h.carried_h for h in each), min(h.read_at or at for h in each)
    units = "1 unit" if len(each) == 1 else f"{len(each)} units"
    return (
        f"Meters last read on {first.day} {first:%b %Y}: {round(hours_h, 1):g} h of {units} since "
        "then are estimated from hours per day."
    )
