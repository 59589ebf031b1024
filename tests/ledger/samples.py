"""Events to book in tests."""

from datetime import UTC, datetime, timedelta

from greaseroute.ledger.events import Greased, MeterRead

MONDAY = datetime(2026, 10, 12, 4, 30, tzinfo=UTC)


def greased(number, *, unit="EX-01", joint="bucket pin", fitting="left", **more):
    """A fitting greased ``number`` seconds after Monday's start, named by its number."""
    told = {"strokes": 5, "grease": "EP 2", "technician": "Oda", **more}
    at = told.pop("at", MONDAY + timedelta(seconds=number))
    name = told.pop("id", f"g{number}")
    return Greased(id=name, at=at, unit=unit, joint=joint, fitting=fitting, **told)


def card(number, fittings=5):
    """What one card books: some fittings and a meter, in one transaction."""
    events = [greased(number, id=f"c{number}-{k}", fitting=f"f{k}") for k in range(fittings)]
    meter = MeterRead(id=f"c{number}-m", at=MONDAY, unit="EX-01", meter_h=100 + number)
    return [*events, meter]
