"""What a ledger says up to a moment, read with few queries and sorted by what it is about."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, TypeVar
from zoneinfo import ZoneInfo

from greaseroute.ledger.absences import absences_of
from greaseroute.ledger.event_json import read_event
from greaseroute.ledger.events import Away, Event, Greased, Happened, PlanHandedOut
from greaseroute.ledger.meters import MeterPoint, points_of
from greaseroute.ledger.store import Ledger, instant_ms
from greaseroute.ledger.takeover import rows_not_taken
from greaseroute.site.model import Site
from greaseroute.site.past import Absence

SERVICES_KEPT: Final = 6
"""Services of each fitting that are looked at: enough to see that it takes more and more."""

PLANS_KEPT_DAYS: Final = 60

LOOKED_AT: Final = (
    *("meter_read", "meter_replaced", "arrived", "left", "away", "moved"),
    *("could_not", "uptake", "defect", "repaired"),
    *("stock_counted", "stock_received", "stock_taken", "cartridge_fitted", "pace_taken"),
)
LAST_CHECKS: Final = """
select body from (
    select body, at_ms, seq, row_number() over (
        partition by unit, json_extract(body, '$.check') order by at_ms desc, seq desc) as nth
    from in_force where kind = 'check' and at_ms <= ?)
where nth = 1 order by at_ms, seq
"""
"""Each daily check of each unit as it was last done: their number does not grow with the years."""

RECENT: Final = """
select body from (
    select body, at_ms, seq, row_number() over (
        partition by unit, joint, fitting order by at_ms desc, seq desc) as nth
    from in_force where kind = 'greased' and at_ms <= ?)
where nth <= ? order by at_ms, seq
"""
WITH_METER: Final = """
select body from in_force
where kind = 'greased' and at_ms <= ? and json_extract(body, '$.meter_h') is not null
"""
HANDED_IN: Final = """
select distinct plan, technician from in_force
where plan is not null and kind <> 'plan_handed_out' and at_ms >= ?
"""


Kind = TypeVar("Kind", bound=Happened)


@dataclass(frozen=True, slots=True, eq=False)
class Recorded:
    """What a ledger says up to a moment, sorted by what it is about; CSV rows not yet taken over
    count as well."""

    at: datetime
    zone: ZoneInfo
    greased: tuple[Greased, ...]
    others: tuple[Event, ...]
    plans: tuple[PlanHandedOut, ...]
    points: Mapping[str, Sequence[MeterPoint]]
    absences: Mapping[str, tuple[Absence, ...]]
    count: int
    latest: datetime | None

    def of(self, kind: type[Kind]) -> list[Kind]:
        """The events of one kind, oldest first."""
        return [event for event in self.others if isinstance(event, kind)]


def read_recorded(site: Site, ledger: Ledger, *, at: datetime) -> Recorded:
    """What the ledger and the folder's own rows say of a site up to ``at``."""
    zone = ZoneInfo(site.time_zone)
    rows = [row for row in rows_not_taken(site, ledger) if row.at <= at]
    own = tuple(row for row in rows if isinstance(row, Greased))
    others = [e for e in ledger.events(kinds=LOOKED_AT) if e.at <= at or isinstance(e, Away)]
    others += [row for row in rows if not isinstance(row, Greased)]
    others += _events(ledger.rows(LAST_CHECKS, (instant_ms(at),)))
    with_meter = _events(ledger.rows(WITH_METER, (instant_ms(at),)))
    points = points_of([*others, *with_meter, *own])
    return Recorded(
        at=at,
        zone=zone,
        greased=(*_recent(ledger, at), *own),
        others=tuple(sorted(others, key=lambda e: instant_ms(e.at))),
        plans=_plans(ledger, at),
        points={unit: [_in_zone(p, zone) for p in found] for unit, found in points.items()},
        absences=absences_of(others),
        count=len(ledger),
        latest=latest_work(ledger),
    )


def _in_zone(point: MeterPoint, zone: ZoneInfo) -> MeterPoint:
    return point._replace(at=point.at.astimezone(zone))


def _events(rows: Iterable[tuple[object, ...]]) -> list[Event]:
    return [read_event(str(body)) for (body,) in rows]


def _recent(ledger: Ledger, at: datetime) -> list[Greased]:
    rows = ledger.rows(RECENT, (instant_ms(at), SERVICES_KEPT))
    return [event for event in _events(rows) if isinstance(event, Greased)]


def latest_work(ledger: Ledger) -> datetime | None:
    """When the newest work on a machine was done, None where there is none."""
    rows = ledger.rows(
        "select at from in_force where kind in ('greased', 'could_not') order by at_ms desc limit 1"
    )
    return datetime.fromisoformat(rows[0][0]) if rows else None


def _plans(ledger: Ledger, at: datetime) -> tuple[PlanHandedOut, ...]:
    """The plans of the last weeks, of them the walks of which something was handed in."""
    since = at - timedelta(days=PLANS_KEPT_DAYS)
    handed_in = set(ledger.rows(HANDED_IN, (instant_ms(since),)))
    rows = ledger.rows(
        "select body from in_force where kind = 'plan_handed_out' and at_ms between ? and ?",
        (instant_ms(since), instant_ms(at)),
    )
    plans = [event for event in _events(rows) if isinstance(event, PlanHandedOut)]
    kept = []
    for plan in plans:
        walks = tuple(w for w in plan.walks if (plan.plan, w.technician) in handed_in)
        kept += [plan.model_copy(update={"walks": walks})] if walks else []
    return tuple(kept)
