"""What the folder's files say, taken over as events; the same row is taken over once."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, Final

from greaseroute.ledger.event_json import named_by_content, plain
from greaseroute.ledger.events import (
    Event,
    Greased,
    Happened,
    MeterRead,
    MeterReplaced,
    Moved,
    StockCounted,
)
from greaseroute.ledger.meters import READING_SLACK_H, MeterPoint, may_follow
from greaseroute.ledger.store import Ledger
from greaseroute.site.fleet import LastService, MeterReading, Unit
from greaseroute.site.model import Site

SERVICES: Final = "last_services.csv"
READINGS: Final = "meter_readings.csv"
FLEET: Final = "fleet.csv"
SETTINGS: Final = "site.toml"


def _named(model: type[Happened], values: Mapping[str, Any]) -> Any:  # noqa: ANN401
    """An event named by its content."""
    unnamed = model.model_validate({**values, "id": "unnamed"})
    return unnamed.model_copy(update={"id": named_by_content(plain(unnamed))})


def service_event(service: LastService) -> Greased:
    """A row of ``last_services.csv`` as an event; its joint may be an interval class."""
    values = {
        "at": service.at,
        "unit": service.unit,
        "joint": service.joint,
        "meter_h": service.meter_h,
        "source": f"{SERVICES}:{service.line}",
    }
    found: Greased = _named(Greased, values)
    return found


def reading_event(reading: MeterReading) -> MeterRead | MeterReplaced:
    """A row of ``meter_readings.csv`` as an event; the first of a new meter is a replacement."""
    values: dict[str, Any] = {
        "at": reading.at,
        "unit": reading.unit,
        "source": f"{READINGS}:{reading.line}",
    }
    found: MeterRead | MeterReplaced
    if reading.new_meter:
        found = _named(MeterReplaced, {**values, "new_h": reading.meter_h})
    else:
        found = _named(MeterRead, {**values, "meter_h": reading.meter_h})
    return found


def rows_not_taken(site: Site, ledger: Ledger) -> list[Event]:
    """Services and readings of the folder's files that the ledger does not hold yet."""
    rows: list[Event] = [service_event(service) for service in site.last_services]
    rows += [reading_event(reading) for reading in site.meter_readings]
    known = {name for (name,) in ledger.rows("select id from event where plan is null")}
    return [row for row in rows if row.id not in known]


def fleet_readings(
    site: Site, points: Mapping[str, Sequence[MeterPoint]], *, at: datetime
) -> Iterator[MeterRead]:
    """Meters of ``fleet.csv`` that tell something new, as readings at ``at``.

    The file has no date: a figure that some reading showed before is an old one, and so is one
    below the last reading.
    """
    for unit in site.units:
        if figure_is_news(unit, points.get(unit.unit, ()), at=at):
            values = {
                "at": at,
                "unit": unit.unit,
                "meter_h": unit.meter_h,
                "source": f"{FLEET}:{unit.line}",
            }
            found: MeterRead = _named(MeterRead, values)
            yield found


def figure_is_news(unit: Unit, points: Sequence[MeterPoint], *, at: datetime) -> bool:
    """Whether the meter in ``fleet.csv`` was read after everything that is recorded.

    Where the meter was replaced the figure may still be the old one's: it counts if the new one
    can show it at ``at``.
    """
    if not points:
        return True
    if any(abs(point.meter_h - unit.meter_h) <= READING_SLACK_H for point in points):
        return False
    if any(point.new for point in points):
        return may_follow(points[-1], MeterPoint(at, unit.meter_h))
    return unit.meter_h > points[-1].meter_h


def fleet_places(
    site: Site, events: Iterable[Event], *, moved: Iterable[str], at: datetime
) -> Iterator[Moved]:
    """Where ``fleet.csv`` has the units that are about to move, if that is not recorded yet.

    It tells a later reader whether the row is as old as the move or was written since.
    """
    last = {e.unit: e for e in events if isinstance(e, Moved) and e.source.startswith(FLEET)}
    units = {unit.unit: unit for unit in site.units}
    for name in dict.fromkeys(moved):
        if name not in units:
            continue
        row = fleet_place(units[name], at=at)
        if name not in last or same_place(row, last[name]) is False:
            yield row


def fleet_place(unit: Unit, *, at: datetime) -> Moved:
    """Where the row of a unit puts it, in the site's local plane."""
    values = {
        "at": at,
        "unit": unit.unit,
        "x_m": unit.x_m,
        "y_m": unit.y_m,
        "heading_deg": unit.heading_deg,
        "posture": unit.posture,
        "slew_deg": unit.slew_deg,
        "source": f"{FLEET}:{unit.line}",
    }
    found: Moved = _named(Moved, values)
    return found


def same_place(one: Moved, other: Moved) -> bool:
    """Whether two rows put a unit at one place in one posture, to the millimetre."""
    numbers = ("x_m", "y_m", "heading_deg", "slew_deg")
    pairs = [(getattr(one, n), getattr(other, n)) for n in numbers]
    near = all((a is None) == (b is None) and abs((a or 0) - (b or 0)) < 1e-3 for a, b in pairs)
    return near and one.posture == other.posture


def stock_rows(site: Site, ledger: Ledger, *, at: datetime) -> Iterator[StockCounted]:
    """The stock that ``site.toml`` tells, as a count at ``at`` where it was written anew.

    The file has no date: the figure that was taken over last is an old one.
    """
    counts = [e for e in ledger.events(kinds=["stock_counted"]) if isinstance(e, StockCounted)]
    last = {e.grease: e.cartridges for e in counts if e.source.startswith(SETTINGS)}
    for grease in site.greases:
        stock = grease.stock_cartridges
        if stock is None or last.get(grease.name) == stock:
            continue
        values = {"at": at, "grease": grease.name, "cartridges": stock, "source": SETTINGS}
        found: StockCounted = _named(StockCounted, values)
        yield found
