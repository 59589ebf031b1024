"""Who is needed at which machine and when, as a calendar file (RFC 5545)."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from greaseroute.cards.lonlat import lonlat_of
from greaseroute.plan.handed_out import round_id
from greaseroute.plan.round import RoundPlan, StandVisit, Stop
from greaseroute.site.model import Site

LINE_OCTETS = 75  # of a line of a calendar file, RFC 5545, 3.1


def calls_ics(plan: RoundPlan, site: Site) -> str:
    """One event for each call: an operator or second person at the controls of a machine.

    Begin and end are estimates: the share of a visit's time that lies before the call. Lines end
    in CRLF and are folded. A plan without a call gives a calendar without an event.
    """
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//greaseroute//round//EN"]
    for technician in plan.technicians:
        for stop in technician.stops:
            for number, stand in enumerate(stop.stands):
                if stand.event:
                    lines += _event(plan, site, technician.name, at=(stop, number))
    return "".join(f"{_folded(line)}\r\n" for line in [*lines, "END:VCALENDAR"])


def _event(plan: RoundPlan, site: Site, technician: str, *, at: tuple[Stop, int]) -> Iterator[str]:
    stop, number = at
    stand = stop.stands[number]
    begin, end = call_span(stop, number)
    say = site.say
    key = "card.calls.posture" if stand.event == "posture" else "card.calls.turn"
    steps = "\n".join(f"{k}. {say.sentence(step)}" for k, step in enumerate(stand.before, 1))
    yield "BEGIN:VEVENT"
    yield f"UID:{round_id(plan)}-{stop.unit.encode().hex()}-{number}@greaseroute"
    yield f"DTSTAMP:{_utc(datetime.fromisoformat(plan.at))}"
    yield f"DTSTART:{_utc(begin)}"
    yield f"DTEND:{_utc(end)}"
    yield f"SUMMARY:{_text(say(key, unit=stop.unit, technician=technician))}"
    yield f"DESCRIPTION:{_text(steps)}"
    yield f"LOCATION:{_text(f'{plan.site}, {stop.unit}')}"
    to_lonlat = lonlat_of(site)
    if to_lonlat is not None:
        lon, lat = to_lonlat(stand.x_m, stand.y_m)
        yield f"GEO:{lat:.6f};{lon:.6f}"
    yield "END:VEVENT"


def call_span(stop: Stop, number: int) -> tuple[datetime, datetime]:
    """Begin and end of the call at a stand of a stop, as estimated."""
    arrive, leave = datetime.fromisoformat(stop.arrive), datetime.fromisoformat(stop.leave)
    spans = [_stand_s(stand) for stand in stop.stands]
    whole_s = stop.isolation_s + sum(spans)
    visit_s = (leave - arrive).total_seconds()
    before_s = stop.isolation_s + sum(spans[:number])
    stretch = visit_s / whole_s if whole_s else 0.0  # walks inside are shared out evenly
    begin = arrive + timedelta(seconds=before_s * stretch)
    return begin, begin + timedelta(seconds=max(60.0, stop.stands[number].before_s * stretch))


def _stand_s(stand: StandVisit) -> float:
    pumped_s = sum(task.work_s for task in stand.fittings)
    return stand.before_s + pumped_s + sum(look.work_s for look in stand.looks)


def _utc(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")


def _text(text: str) -> str:
    """A value of type TEXT, RFC 5545, 3.3.11."""
    for mark in ("\\", ";", ","):
        text = text.replace(mark, f"\\{mark}")
    return text.replace("\n", "\\n")


def _folded(line: str) -> str:
    """A line in pieces of at most 75 octets, never cut inside a letter; RFC 5545, 3.1."""
    pieces, piece, room = [], "", LINE_OCTETS
    for letter in line:
        size = len(letter.encode())
        if size > room:
            pieces.append(piece)
            piece, room = "", LINE_OCTETS - 1
        piece += letter
        room -= size
    return "\r\n ".join([*pieces, piece])
