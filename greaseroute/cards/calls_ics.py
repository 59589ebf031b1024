"""Who is needed at which machine and when, as a calendar file (RFC 5545)."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from greaseroute.plan.handed_out import round_id
from greaseroute.plan.round import PersonCall, RoundPlan, StandVisit, Stop
from greaseroute.site.lonlat import lonlat_of
from greaseroute.site.model import Site

LINE_OCTETS = 75  # of a line of a calendar file, RFC 5545, 3.1


def calls_ics(plan: RoundPlan, site: Site) -> str:
    """One event for each call: an operator or second person at the controls of a machine.

    Where the site names its people, times and names are those of the plan; else begin and end are
    estimates: the share of a visit's time that lies before the call. Lines end in CRLF and are
    folded. A plan without a call gives a calendar without an event.
    """
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//greaseroute//round//EN"]
    calls = [_named_call(call) for call in plan.people] or list(_estimated(plan))
    for number, call in enumerate(calls):
        lines += _event(plan, site, call, number=number)
    return "".join(f"{_folded(line)}\r\n" for line in [*lines, "END:VCALENDAR"])


@dataclass(frozen=True, slots=True)
class _Call:
    """One event: who, at which machine, with whom, when, where, what is done."""

    person: str
    unit: str
    technician: str
    turn: bool
    span: tuple[datetime, datetime]
    at_m: tuple[float, float]
    steps: tuple[str, ...] = ()


def _named_call(call: PersonCall) -> _Call:
    span = (datetime.fromisoformat(call.begin), datetime.fromisoformat(call.end))
    turn = bool(call.joint)
    return _Call(call.person, call.unit, call.technician, turn, span, (call.x_m, call.y_m))


def _estimated(plan: RoundPlan) -> Iterator[_Call]:
    for technician in plan.technicians:
        for stop in technician.stops:
            for number, stand in enumerate(stop.stands):
                if stand.event:
                    yield _Call(
                        person="",
                        unit=stop.unit,
                        technician=technician.name,
                        turn=stand.event == "turn",
                        span=call_span(stop, number),
                        at_m=(stand.x_m, stand.y_m),
                        steps=stand.before,
                    )


def _event(plan: RoundPlan, site: Site, call: _Call, *, number: int) -> Iterator[str]:
    say = site.say
    what = say(
        "card.calls.turn" if call.turn else "card.calls.posture",
        unit=call.unit, technician=call.technician,
    )  # fmt: skip
    steps = "\n".join(f"{k}. {say.sentence(step)}" for k, step in enumerate(call.steps, 1))
    yield "BEGIN:VEVENT"
    yield f"UID:{round_id(plan)}-{number}@greaseroute"
    yield f"DTSTAMP:{_utc(datetime.fromisoformat(plan.at))}"
    yield f"DTSTART:{_utc(call.span[0])}"
    yield f"DTEND:{_utc(call.span[1])}"
    yield f"SUMMARY:{_text(f'{call.person}: {what}' if call.person else what)}"
    if steps:
        yield f"DESCRIPTION:{_text(steps)}"
    yield f"LOCATION:{_text(f'{plan.site}, {call.unit}')}"
    to_lonlat = lonlat_of(site)
    if to_lonlat is not None:
        lon, lat = to_lonlat(*call.at_m)
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
