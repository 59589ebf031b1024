"""One booking: what was handed in is checked whole, then booked in one transaction."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from greaseroute.errors import BadInput, Fault
from greaseroute.ledger.card_file import Lines
from greaseroute.ledger.checks import SiteNames, Told, event_faults, meter_faults, plan_faults
from greaseroute.ledger.events import Event, Moved, PlanHandedOut
from greaseroute.ledger.meters import points_of
from greaseroute.ledger.report import News, Report, counted, news_of
from greaseroute.ledger.store import Ledger
from greaseroute.ledger.takeover import (
    fleet_places,
    fleet_readings,
    rows_not_taken,
    stock_rows,
)
from greaseroute.site.model import Site

METERS = ("meter_read", "meter_replaced", "greased")


@dataclass(frozen=True, slots=True)
class HandedIn:
    """One thing handed in: the report of a card, or events that were written down."""

    where: Lines
    report: Report | None = None
    events: tuple[Event, ...] = ()


@dataclass(slots=True)
class Booked:
    """What a booking did. ``taken_over`` counts rows of the folder's files by file."""

    taken_over: dict[str, int] = field(default_factory=dict)
    cards: list[tuple[str, News]] = field(default_factory=list)
    kinds: dict[str, int] = field(default_factory=dict)
    new: int = 0
    there_before: int = 0
    total: int = 0


@dataclass(frozen=True, slots=True)
class Booking:
    """A site, its open ledger, and the moment of booking (with the site's zone)."""

    site: Site
    ledger: Ledger
    now: datetime

    def book(self, handed_in: Sequence[HandedIn], *, plans: Iterable[PlanHandedOut] = ()) -> Booked:
        """Take over what is new in the folder's files, then book everything handed in.

        Raises BadInput with every fault of everything, and LedgerRefused; nothing is booked then.
        """
        booked, names = Booked(), SiteNames(self.site)
        with self.ledger.transaction():
            self._add(plans)
            self._take_over(booked, at=self._begun(handed_in))
            faults: list[Fault] = []
            for each in handed_in:
                faults += self._book_one(each, booked, names)
            if faults:
                raise BadInput(handed_in[0].where.file, faults)
            booked.total = len(self.ledger)
        return booked

    def _add(self, events: Iterable[Event]) -> int:
        return self.ledger.add(events, received=self.now)

    def _begun(self, handed_in: Iterable[HandedIn]) -> datetime:
        """The moment at which the folder's undated figures are taken to hold.

        That is when the first round told of began; without one, the moment planned for.
        """
        told = [each.report.planned_for for each in handed_in if each.report is not None]
        if not told and self.site.planned_for is not None:
            told = [self.site.planned_for]
        return min([*told, self.now])

    def _take_over(self, booked: Booked, *, at: datetime) -> None:
        """Rows of services and readings, then the fleet's meters and the stock where they tell
        something new."""
        rows = rows_not_taken(self.site, self.ledger)
        self._add(rows)
        points = points_of(self.ledger.events(kinds=METERS))
        more: list[Event] = [
            *fleet_readings(self.site, points, at=at),
            *stock_rows(self.site, self.ledger, at=at),
        ]
        self._add(more)
        for event in (*rows, *more):
            file = event.source.partition(":")[0]
            booked.taken_over[file] = booked.taken_over.get(file, 0) + 1

    def _book_one(self, each: HandedIn, booked: Booked, names: SiteNames) -> list[Fault]:
        """Book one thing handed in, or give its faults."""
        faults = self._faults(each, names)
        if faults:
            return faults
        if each.report is None:
            events: Sequence[Event] = each.events
        else:
            news = news_of(each.report, self.ledger)
            booked.cards.append((each.where.file, news))
            events = news.events
        self._add(self._places_before(events))
        fresh = [event for event in events if not self.ledger.has(event.id)]
        added = self._add(fresh)
        booked.new += added
        booked.there_before += len(events) - added
        for kind, number in counted(fresh).items():
            booked.kinds[kind] = booked.kinds.get(kind, 0) + number
        return []

    def _faults(self, each: HandedIn, names: SiteNames) -> list[Fault]:
        report = each.report
        told = Told(report.events if report else each.events, each.where)
        faults = list(event_faults(told, names, now=self.now))
        if report is not None:
            known = self._plans()
            faults += plan_faults(
                told, report.plan, of_site=report.site, site=self.site.name, known=known
            )
        if not faults:
            fresh = tuple(event for event in told.events if not self.ledger.has(event.id))
            points = points_of(self.ledger.events(kinds=METERS))
            faults += meter_faults(Told(fresh, each.where), points)
        return faults

    def _plans(self) -> dict[str, str]:
        """The plans that were handed out, with the morning of each."""
        rows = self.ledger.rows("select plan, at from event where kind = 'plan_handed_out'")
        return {str(plan): str(at)[:16].replace("T", " ") for plan, at in rows}

    def _places_before(self, events: Iterable[Event]) -> list[Moved]:
        """Where the fleet list has the units that these events move."""
        moved = [event.unit for event in events if isinstance(event, Moved)]
        if not moved:
            return []
        first = min(event.at for event in events if isinstance(event, Moved))
        before = self.ledger.events(kinds=["moved"])
        return list(fleet_places(self.site, before, moved=moved, at=first))
