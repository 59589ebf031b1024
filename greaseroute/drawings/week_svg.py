"""Pictures of the week: minutes of each morning stacked, and the fan of cartridges used."""

import math
from collections.abc import Sequence

from greaseroute.drawings.svg import Point2, num, picture, tag, words
from greaseroute.plan.week import GreaseWeek, MorningPlan
from greaseroute.texts.language import ENGLISH, Language

WIDTH, HEIGHT = 420.0, 290.0
LEFT, RIGHT, TOP, BOTTOM = 34.0, 6.0, 48.0, 40.0

STYLE = (
    ".w-t{font-family:system-ui,-apple-system,'Segoe UI','DejaVu Sans',Arial,sans-serif;"
    "font-size:12px;fill:#111}.w-s{font-size:11px;fill:#444}.w-m{text-anchor:middle}"
    ".w-e{text-anchor:end}.w-grid{stroke:#ccc;stroke-width:1}.w-axis{stroke:#222;stroke-width:1.2}"
    ".w-work{fill:#0b3c6f;stroke:#111}.w-walk{fill:#c9d8e8;stroke:#111}"
    ".w-wait{fill:#fff;stroke:#111;stroke-dasharray:3 2}.w-limit{stroke:#111;stroke-width:2;"
    "stroke-dasharray:8 4}.w-fan{fill:#c9d8e8;stroke:#0b3c6f;stroke-width:1}"
    ".w-mid{fill:none;stroke:#0b3c6f;stroke-width:2.4}.w-dot{fill:#0b3c6f}"
)


def nice_step(top: float, *, steps: int = 5) -> float:
    """A round step so that about ``steps`` of it reach ``top``: 1, 2 or 5 times a power of ten."""
    raw = max(top, 1e-9) / steps
    power = 10.0 ** len(str(int(raw))) / 10 if raw >= 1 else 0.1 if raw >= 0.1 else 0.01
    return next(k * power for k in (1, 2, 5, 10) if k * power >= raw * (1 - 1e-9))


def _grid(top: float, unit: str) -> tuple[list[str], float]:
    """Lines across with their figures, and the picture's height of one unit."""
    step = nice_step(top)
    count = int(-(-top // step))
    scale = (HEIGHT - TOP - BOTTOM) / max(count * step, 1e-9)
    parts = []
    for k in range(count + 1):
        y = HEIGHT - BOTTOM - k * step * scale
        parts.append(_line((LEFT, y), (WIDTH - RIGHT, y), "w-grid"))
        parts.append(words(f"{k * step:g}", (LEFT - 6, y + 4), class_="w-t w-s w-e"))
    parts.append(words(unit, (2.0, TOP - 12), class_="w-t w-s"))
    return parts, scale


def _line(a: Point2, b: Point2, kind: str) -> str:
    return tag("path", d=f"M{num(a[0])} {num(a[1])}L{num(b[0])} {num(b[1])}", class_=kind)


def _box(corner: Point2, size: Point2, kind: str) -> str:
    return tag("rect", x=corner[0], y=corner[1], width=size[0], height=size[1], class_=kind)


def _key(entries: Sequence[tuple[str, str]], left: float) -> list[str]:
    """Named boxes in a row at the top, so that no meaning hangs on colour alone."""
    parts, x = [], left
    for kind, text in entries:
        parts.append(_box((x, 7.0), (14.0, 12.0), kind))
        parts.append(words(text, (x + 19, 17.0), class_="w-t w-s"))
        x += 34 + 6.6 * len(text)
    return parts


def _labelled(count: int) -> range:
    """Which of ``count`` columns carry their day: all while there is room for each."""
    room = (WIDTH - LEFT - RIGHT) / max(count, 1)
    return range(0, count, max(1, math.ceil(44 / room)))


def _columns(count: int) -> list[float]:
    """Left edges of ``count`` equal columns."""
    width = (WIDTH - LEFT - RIGHT) / max(count, 1)
    return [LEFT + k * width for k in range(count)]


def _stack(
    parts: Sequence[tuple[str, float]], *, x: float, width: float, scale: float
) -> list[str]:
    drawn, y = [], HEIGHT - BOTTOM
    for kind, minutes in parts:
        height = minutes * scale
        y -= height
        if height > 0.05:
            drawn.append(_box((x, y), (width, height), kind))
    return drawn


def minutes_svg(
    mornings: Sequence[MorningPlan], *, limit_min: float, say: Language = ENGLISH
) -> str:
    """Stacked minutes of every technician on every morning: work, walk, wait; the shift's start
    as a broken line."""
    longest = max((t.minutes for m in mornings for t in m.technicians), default=0.0)
    body, scale = _grid(max(longest, limit_min, 1.0), "min")
    columns = _columns(len(mornings))
    room = columns[1] - columns[0] if len(columns) > 1 else WIDTH - LEFT - RIGHT
    for number, (x, morning) in enumerate(zip(columns, mornings, strict=True)):
        each = room * 0.8 / max(1, len(morning.technicians))
        for k, t in enumerate(morning.technicians):
            bar_x = x + room * 0.1 + k * each
            parts = [("w-work", t.work_min), ("w-walk", t.walk_min), ("w-wait", t.wait_min)]
            body += _stack(parts, x=bar_x, width=each * 0.86, scale=scale)
            y = HEIGHT - BOTTOM - t.minutes * scale - 4
            body.append(words(f"{t.minutes:.0f}", (bar_x + each * 0.43, y), class_="w-t w-s w-m"))
            if len(morning.technicians) > 1:
                name = t.name[: max(1, int(each / 7))]
                at = (bar_x + each * 0.43, HEIGHT - BOTTOM + 14)
                body.append(words(name, at, class_="w-t w-s w-m"))
        if number in _labelled(len(mornings)):
            at = (x + room / 2, HEIGHT - 8)
            body.append(words(say.day_label(morning.at), at, class_="w-t w-s w-m"))
    y = HEIGHT - BOTTOM - limit_min * scale
    body.append(_line((LEFT, y), (WIDTH - RIGHT, y), "w-limit"))
    body.append(_line((LEFT, HEIGHT - BOTTOM), (WIDTH - RIGHT, HEIGHT - BOTTOM), "w-axis"))
    body += _key(
        [(f"w-{part}", say(f"week.{part}")) for part in ("work", "walk", "wait")], left=LEFT
    )
    body.append(words(say("week.shift_line"), (LEFT + 205, 17.0), class_="w-t w-s"))
    label = say("week.minutes_label", n=len(mornings))
    return picture("".join(body), size=(WIDTH, HEIGHT), label=label)


def fan_svg(grease: GreaseWeek, days: Sequence[str], say: Language = ENGLISH) -> str:
    """Cartridges of one grease used up to each morning: P50 as a line, P10 to P90 as a band."""
    body, scale = _grid(max(grease.fan[-1].p90, 0.01), say("week.cartridges_used"))
    columns = _columns(len(grease.fan))
    room = columns[1] - columns[0] if len(columns) > 1 else WIDTH - LEFT - RIGHT
    xs = [x + room / 2 for x in columns]

    def points(values: Sequence[float]) -> list[Point2]:
        return [(x, HEIGHT - BOTTOM - v * scale) for x, v in zip(xs, values, strict=True)]

    def path(line: Sequence[Point2]) -> str:
        return "M" + "L".join(f"{num(x)} {num(y)}" for x, y in line)

    high = points([q.p90 for q in grease.fan])
    low = points([q.p10 for q in grease.fan])
    middle = points([q.p50 for q in grease.fan])
    body.append(tag("path", d=path([*high, *low[::-1]]) + "Z", class_="w-fan"))
    body.append(tag("path", d=path(middle), class_="w-mid"))
    body += [tag("circle", cx=x, cy=y, r=3.5, class_="w-dot") for x, y in middle]
    body += [
        words(say.day_label(days[k]), (xs[k], HEIGHT - 20), class_="w-t w-s w-m")
        for k in _labelled(len(days))
    ]
    body.append(_line((LEFT, HEIGHT - BOTTOM), (WIDTH - RIGHT, HEIGHT - BOTTOM), "w-axis"))
    body += _key([("w-dot", say("week.half")), ("w-fan", say("week.most"))], left=LEFT)
    return picture(
        "".join(body),
        size=(WIDTH, HEIGHT),
        label=say("week.fan_label", grease=grease.grease),
    )
