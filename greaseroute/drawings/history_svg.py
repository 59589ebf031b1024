"""The plot of a machine's past: its meter over time, and below it a row of marks for each class."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from greaseroute.drawings.svg import Point2, num, picture, tag, words
from greaseroute.drawings.week_svg import nice_step
from greaseroute.plan.history import MeterMark, UnitPast

WIDTH, METER_HEIGHT, ROW_HEIGHT = 760.0, 190.0, 24.0
LEFT, RIGHT, TOP, BOTTOM = 150.0, 14.0, 24.0, 30.0

STYLE = (
    ".h-t{font-family:system-ui,-apple-system,'Segoe UI','DejaVu Sans',Arial,sans-serif;"
    "font-size:12px;fill:#111}.h-s{font-size:11px;fill:#444}.h-m{text-anchor:middle}"
    ".h-e{text-anchor:end}.h-grid{stroke:#ccc;stroke-width:1}.h-axis{stroke:#222;stroke-width:1.2}"
    ".h-meter{fill:none;stroke:#0b3c6f;stroke-width:2}.h-dot{fill:#0b3c6f}"
    ".h-away{fill:#e4e4e4}.h-greased{fill:#0b3c6f}.h-not{stroke:#111;stroke-width:2;fill:none}"
    ".h-defect{fill:#fff;stroke:#111;stroke-width:2}"
)


class _Frame:
    """From moments and hours to the picture."""

    def __init__(self, past: UnitPast) -> None:
        self.past = past
        figures = [mark.meter_h for mark in past.meters] + [past.meter_h]
        self.low, self.high = min(figures), max(figures)
        self.step = nice_step(max(self.high - self.low, 1.0), steps=4)
        self.low = self.step * (self.low // self.step)
        self.bottom = TOP + METER_HEIGHT
        self.height = self.bottom + 14 + ROW_HEIGHT * len(past.rows) + BOTTOM

    def x(self, at: datetime) -> float:
        """Place of a moment, held inside the plot."""
        share = (at - self.past.since) / (self.past.at - self.past.since)
        return LEFT + min(max(share, 0.0), 1.0) * (WIDTH - LEFT - RIGHT)

    def y(self, meter_h: float) -> float:
        """Place of a meter figure."""
        span = max(self.high - self.low, self.step)
        return self.bottom - (meter_h - self.low) / span * (METER_HEIGHT - 10)

    def row_y(self, row: str) -> float:
        """Middle of a row of marks."""
        return self.bottom + 14 + ROW_HEIGHT * (self.past.rows.index(row) + 0.5)


def history_svg(past: UnitPast) -> str:
    """The plot of a unit's page. The same page gives the same picture."""
    frame = _Frame(past)
    parts = [
        *_away(frame),
        *_hours(frame),
        *_days(frame),
        *_rows(frame),
        *_meter(frame),
        *(_mark(mark.kind, (frame.x(mark.at), frame.row_y(mark.row))) for mark in past.marks),
    ]
    title = f"{past.unit}: hours on the meter and services of {past.days} days"
    return picture("".join(parts), size=(WIDTH, frame.height), label=title)


def _line(a: Point2, b: Point2, kind: str) -> str:
    return tag("path", d=f"M{num(a[0])} {num(a[1])}L{num(b[0])} {num(b[1])}", class_=kind)


def _away(frame: _Frame) -> Iterator[str]:
    for begin, end in frame.past.away:
        x = frame.x(begin)
        yield tag("rect", x=x, y=TOP, width=max(1.0, frame.x(end) - x),
                  height=frame.height - BOTTOM - TOP, class_="h-away")  # fmt: skip
        yield words("away", (x + 3, TOP + 12), class_="h-t h-s")


def _hours(frame: _Frame) -> Iterator[str]:
    yield words("hours on the meter", (LEFT, TOP - 10), class_="h-t h-s")
    level = frame.low
    while level <= frame.high + 1e-9:
        y = frame.y(level)
        yield _line((LEFT, y), (WIDTH - RIGHT, y), "h-grid")
        yield words(f"{level:g}", (LEFT - 6, y + 4), class_="h-t h-s h-e")
        level += frame.step


def _days(frame: _Frame) -> Iterator[str]:
    """A date about every seventh of the span, at midnight."""
    past = frame.past
    every = max(1, round(past.days / 7))
    zone = past.at.tzinfo
    day = datetime.combine(past.since.astimezone(zone).date(), datetime.min.time(), tzinfo=zone)
    day += timedelta(days=1)
    y = frame.height - BOTTOM
    while day <= past.at:
        x = frame.x(day)
        yield _line((x, TOP), (x, y), "h-grid")
        yield words(f"{day.day} {day:%b}", (x, y + 16), class_="h-t h-s h-m")
        day += timedelta(days=every)


def _rows(frame: _Frame) -> Iterator[str]:
    for row in frame.past.rows:
        y = frame.row_y(row)
        yield _line((LEFT, y), (WIDTH - RIGHT, y), "h-grid")
        shown = row if len(row) <= 22 else row[:21] + "\u2026"
        yield words(shown, (LEFT - 6, y + 4), class_="h-t h-s h-e")


def _meter(frame: _Frame) -> Iterator[str]:
    """A line for each meter, and a dot for each reading."""
    lines: list[list[MeterMark]] = [[]]
    for mark in frame.past.meters:
        if mark.new and lines[-1]:
            lines.append([])
        lines[-1].append(mark)
    for line in lines:
        points = [(frame.x(mark.at), frame.y(mark.meter_h)) for mark in line]
        if len(points) > 1:
            path = "L".join(f"{num(x)} {num(y)}" for x, y in points)
            yield tag("path", d="M" + path, class_="h-meter")
        for x, y in points:
            yield tag("circle", cx=x, cy=y, r=2.5, class_="h-dot")


def _mark(kind: str, at: Point2) -> str:
    """A bar where it was greased, a cross where it could not be, a triangle for what was found."""
    x, y = at
    if kind == "greased":
        return tag("rect", x=x - 2, y=y - 8, width=4.0, height=16.0, class_="h-greased")
    if kind == "could_not":
        return _line((x - 5, y - 5), (x + 5, y + 5), "h-not") + _line(
            (x - 5, y + 5), (x + 5, y - 5), "h-not"
        )
    path = f"M{num(x)} {num(y - 7)}L{num(x + 7)} {num(y + 6)}L{num(x - 7)} {num(y + 6)}Z"
    return tag("path", d=path, class_="h-greased" if kind == "repaired" else "h-defect")
