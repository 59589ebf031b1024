"""What the events tell of a joint beside its last service: blocked, skipped, takes more, broken."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, tzinfo
from itertools import pairwise
from statistics import median
from typing import Final, NamedTuple

from greaseroute.ledger.events import (
    CouldNot,
    DefectSeen,
    Event,
    Greased,
    PlanHandedOut,
    Repaired,
    UptakeSeen,
)
from greaseroute.site.past import Trouble

BLOCKED_REASONS: Final = ("does not take grease", "fitting missing or broken")
BROKEN: Final = ("fitting missing", "fitting broken")
LEAST_SERVICES: Final = 4
MORE_SHARE: Final = 1.5
"""A fitting takes more when the last two of at least four services took half as much again as the
first ones, and none fell behind the one before: common practice, no source."""
LEAST_SKIPS: Final = 2


class FittingKey(NamedTuple):
    """One fitting of a unit's joint."""

    unit: str
    joint: str
    fitting: str | None


def key_of(event: Event) -> FittingKey | None:
    """The fitting or joint an event is about."""
    unit, joint = getattr(event, "unit", None), getattr(event, "joint", None)
    if unit is None or joint is None:
        return None
    return FittingKey(unit, joint, getattr(event, "fitting", None))


class Book:
    """Events of one site up to a moment, looked up by fitting."""

    def __init__(self, events: Iterable[Event], *, at: datetime, zone: tzinfo) -> None:
        self.at, self.zone = at, zone
        self.greased: dict[FittingKey, list[Greased]] = defaultdict(list)
        self.against: dict[FittingKey, list[Event]] = defaultdict(list)
        self.repaired: list[Repaired] = []
        self.defects: list[DefectSeen] = []
        self.plans: list[PlanHandedOut] = []
        for event in events:
            self._sort_in(event)

    def _sort_in(self, event: Event) -> None:
        key = key_of(event)
        if event.at > self.at:
            return
        if isinstance(event, Greased) and key is not None:
            self.greased[key].append(event)
        elif isinstance(event, CouldNot | UptakeSeen) and key is not None:
            self.against[key].append(event)
        elif isinstance(event, DefectSeen):
            self.defects.append(event)
            if key is not None and event.defect in BROKEN:
                self.against[key].append(event)
        elif isinstance(event, Repaired):
            self.repaired.append(event)
        elif isinstance(event, PlanHandedOut):
            self.plans.append(event)

    def last_greased(self, key: FittingKey) -> datetime | None:
        """When the fitting, or its joint as a whole, was last greased."""
        whole = FittingKey(key.unit, key.joint, None)
        return max((e.at for k in {key, whole} for e in self.greased.get(k, ())), default=None)

    def mended(self, key: FittingKey) -> datetime | None:
        """When the fitting, its joint or its machine was last mended."""
        return max(
            (r.at for r in self.repaired if r.unit == key.unit
             and r.joint in (None, key.joint) and r.fitting in (None, key.fitting)),
            default=None,
        )  # fmt: skip

    def open_since(self, key: FittingKey) -> datetime | None:
        """The later of the last greasing and the last mending, before which nothing counts."""
        return max((t for t in (self.last_greased(key), self.mended(key)) if t), default=None)

    def day(self, moment: datetime) -> str:
        """A moment's date on the site's clock."""
        return f"{moment.astimezone(self.zone):%Y-%m-%d}"


def troubles_of(book: Book) -> tuple[Trouble, ...]:
    """Everything that is not over, by unit and joint."""
    found = [*_blocked(book), *_skipped(book), *_takes_more(book), *_defects(book)]
    order = sorted(found, key=lambda t: (t.unit, t.joint or "", t.fitting or "", t.kind))
    return tuple(order)


def _blocked(book: Book) -> Iterator[Trouble]:
    """Fittings that took no grease, or are broken, since they were last greased or mended."""
    for key, events in book.against.items():
        since = book.open_since(key)
        held = [e for e in events if (since is None or e.at > since) and _blocks(e)]
        if held:
            first = min(held, key=lambda e: e.at)
            times = f", {len(held)} times" if len(held) > 1 else ""
            text = f"{_what(first)} since {book.day(first.at)}{times}: for the workshop"
            yield _trouble(key, "blocked", held, text=text)


def _blocks(event: Event) -> bool:
    if isinstance(event, CouldNot):
        return event.reason in BLOCKED_REASONS
    if isinstance(event, UptakeSeen):
        return event.uptake == "refused grease"
    return True


def _what(event: Event) -> str:
    if isinstance(event, CouldNot):
        return event.reason
    return event.defect if isinstance(event, DefectSeen) else "refused grease"


def _trouble(key: FittingKey, kind: str, events: Sequence[Event], *, text: str) -> Trouble:
    values = {"kind": kind, "since": min(e.at for e in events), "times": len(events)}
    return Trouble.model_validate({**key._asdict(), **values, "text": text})


def _skipped(book: Book) -> Iterator[Trouble]:
    """Fittings on the cards of two mornings or more since they were last greased, and not done.

    Only plans count of which something was booked: a card that was not handed in tells nothing.
    """
    mornings: dict[FittingKey, dict[date, PlanHandedOut]] = defaultdict(dict)
    for plan in book.plans:
        day = plan.at.astimezone(book.zone).date()
        for walk in plan.walks:
            for stop in walk.stops:
                for fitting in stop.fittings:
                    key = FittingKey(stop.unit, fitting.joint, fitting.fitting)
                    mornings[key][day] = plan
    for key, days in mornings.items():
        since = book.open_since(key)
        missed = [plan for plan in days.values() if since is None or plan.at > since]
        if len(missed) >= LEAST_SKIPS:
            first = min(plan.at for plan in missed)
            text = f"on {len(missed)} cards since {book.day(first)} and not done{_why(key, book)}"
            yield _trouble(key, "skipped", missed, text=text)


def _why(key: FittingKey, book: Book) -> str:
    """The reasons given since, each with how often."""
    since = book.open_since(key)
    reasons = [
        e.reason
        for e in book.against.get(key, ())
        if isinstance(e, CouldNot) and (since is None or e.at > since)
    ]
    counts = {reason: reasons.count(reason) for reason in dict.fromkeys(reasons)}
    if not counts:
        return ""
    return " (" + ", ".join(f"{reason}: {n}" for reason, n in counts.items()) + ")"


def _takes_more(book: Book) -> Iterator[Trouble]:
    """Fittings that take more from service to service: worn, or a line that leaks."""
    for key, events in book.greased.items():
        mended = book.mended(key)
        taken = [e for e in events if e.strokes and (mended is None or e.at > mended)]
        strokes = [e.strokes or 0 for e in sorted(taken, key=lambda e: e.at)]
        if takes_more(strokes):
            listed = ", ".join(map(str, strokes[-LEAST_SERVICES - 1 :]))
            text = f"takes more each time ({listed} strokes): look for wear or a leaking line"
            yield _trouble(key, "takes more", taken[-2:], text=text)


def takes_more(strokes: Sequence[int]) -> bool:
    """Whether services, oldest first, take more and more.

    >>> takes_more([4, 4, 6, 7]), takes_more([4, 9, 4, 4]), takes_more([4, 7, 8])
    (True, False, False)
    """
    recent = strokes[-LEAST_SERVICES - 1 :]
    if len(recent) < LEAST_SERVICES:
        return False
    rising = all(b >= a for a, b in pairwise(recent))
    return rising and median(recent[-2:]) >= MORE_SHARE * median(recent[:2])


def _defects(book: Book) -> Iterator[Trouble]:
    """Defects seen and not mended since."""
    for event in book.defects:
        key = FittingKey(event.unit, event.joint or "", event.fitting)
        mended = book.mended(key)
        if event.defect in BROKEN or (mended is not None and mended >= event.at):
            continue
        words = f" ({event.words})" if event.words else ""
        text = f"{event.defect}{words} seen on {book.day(event.at)}"
        yield Trouble(
            unit=event.unit,
            joint=event.joint,
            fitting=event.fitting,
            kind="defect",
            since=event.at,
            text=text,
        )
