"""The week's page: one self-contained HTML file for the phone and for paper."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from markupsafe import Markup

from greaseroute.cards.cautions import aid
from greaseroute.cards.pages import environment, page_style
from greaseroute.drawings.week_svg import STYLE, fan_svg, minutes_svg
from greaseroute.plan.round import LeftOut
from greaseroute.plan.week import (
    CannotKeep,
    MorningPlan,
    OrderLine,
    Pack,
    PlannedService,
    TechnicianMorning,
    WeekPlan,
)
from greaseroute.plan.words import clock
from greaseroute.site.model import Site
from greaseroute.texts.language import ENGLISH, Language

FEW_ROWS = 12  # of a table: cut in two it would save no room worth it


def pack_words(packs: tuple[Pack, ...], say: Language = ENGLISH) -> str:
    """``1 pail of 18 kg and 3 cartridges of 0.4 kg``."""
    return say.listed(
        say("week.pack", packs=say.count(p.count, p.word), size_kg=p.size_kg) for p in packs
    )


def order_words(line: OrderLine, say: Language = ENGLISH) -> str:
    """The order in a sentence; where nothing is needed, that."""
    if line.stock is None:
        return say("week.stock_not_told", level=line.reorder_level, up_to=line.up_to)
    if line.order_by is None:
        return say("week.stays_above", level=line.reorder_level)
    if not line.packs:
        return say("week.covered")
    day = say.day_label(line.order_by)
    return say("week.by_day", packs=pack_words(line.packs, say), day=day)


def move_words(service: PlannedService, say: Language = ENGLISH) -> str:
    """What is to be said of a service's morning: nothing where it falls due on it."""
    if service.backlog:
        return say("week.overdue")
    if service.over:
        return say("week.over")
    if service.days_moved == 0:
        return ""
    mornings = say.count(abs(service.days_moved), "morning")
    return say("week.early" if service.days_moved < 0 else "week.after", mornings=mornings)


def by_unit(morning: MorningPlan, say: Language) -> list[tuple[str, list[tuple[str, list[str]]]]]:
    """The joints of a morning, unit by unit, those of which the same is to be said together."""
    found: dict[str, dict[str, list[str]]] = {}
    for service in morning.services:
        told = found.setdefault(service.unit, {})
        told.setdefault(move_words(service, say), []).append(service.joint)
    return [(unit, list(told.items())) for unit, told in found.items()]


def machine_days(week: WeekPlan) -> list[tuple[str, list[int]]]:
    """For each machine with something to do its joints on each morning."""
    found: dict[str, list[int]] = {}
    for day, morning in enumerate(week.mornings):
        for service in morning.services:
            found.setdefault(service.unit, [0] * len(week.mornings))[day] += 1
    return sorted(found.items())


def _halves(
    rows: list[tuple[str, list[int]]],
) -> list[list[tuple[str, list[int]]]]:
    """Rows in two tables that stand side by side on paper; few rows in one."""
    middle = (len(rows) + 1) // 2
    return [rows[:middle], rows[middle:]] if len(rows) >= FEW_ROWS else [rows]


def people(week: WeekPlan) -> list[tuple[str, list[str]]]:
    """For each technician when he is out on each morning; empty where he is not needed."""
    names = dict.fromkeys(t.name for m in week.mornings for t in m.technicians)
    return [
        (
            name,
            [
                next(
                    (
                        f"{clock(t.start)}-{clock(t.finish)}"
                        for t in m.technicians
                        if t.name == name and t.strokes
                    ),
                    "",
                )
                for m in week.mornings
            ],
        )
        for name in names
    ]


def people_by_hour(week: WeekPlan) -> list[tuple[str, list[int]]]:
    """How many are out in each hour of the day, morning by morning."""
    out = [
        [(clock(t.start), clock(t.finish)) for t in m.technicians if t.strokes]
        for m in week.mornings
    ]
    hours = sorted({f"{hour:02}" for day in out for a, b in day for hour in _hours(a, b)})
    return [
        (f"{hour}:00", [sum(int(hour) in _hours(a, b) for a, b in day) for day in out])
        for hour in hours
    ]


def _hours(begin: str, end: str) -> list[int]:
    """The hours of the day that a time between two clock times touches."""
    first, last = int(begin[:2]), int(end[:2])
    return [hour % 24 for hour in range(first, last + 1 + (24 if last < first else 0))]


def by_reason(lefts: Iterable[LeftOut], site: Site) -> list[tuple[str, str]]:
    """(machines, joints with their reason) of what is left out; what is alike stands together."""
    found: dict[str, dict[str, list[str]]] = {}
    for left in lefts:
        parts = [left.joint, *([left.fitting] if left.fitting else [])]
        name = " ".join(joint_name(part, left.unit, site) for part in parts)
        reason = site.say.sentence(left.reason)
        found.setdefault(left.unit, {}).setdefault(reason, []).append(name)
    alike: dict[str, list[str]] = {}
    for unit, told in found.items():
        text = "; ".join(f"{', '.join(names)}: {reason}" for reason, names in told.items())
        alike.setdefault(text, []).append(unit)
    return [(", ".join(units), text) for text, units in alike.items()]


def joint_name(joint: str, unit: str, site: Site) -> str:
    """A joint's name in the language of the site; on the machine's family it may be another."""
    found = next((each for each in site.units if each.unit == unit), None)
    return site.say.name(joint, site.machine(found).family if found else "")


def kept_by_nobody(week: WeekPlan) -> list[tuple[str, list[CannotKeep]]]:
    """Joints whose interval no morning keeps: of one machine, interval and share together."""
    found: dict[tuple[str, str, float, str], list[CannotKeep]] = {}
    for each in week.cannot_keep:
        found.setdefault((each.unit, each.interval, each.used, each.helps), []).append(each)
    return [(key[0], joints) for key, joints in found.items()]


def window_min(technician: TechnicianMorning, shift_start: str) -> float:
    """Minutes from when a technician sets off to the start of the shift, ``HH:MM``, after it."""
    start = datetime.fromisoformat(technician.start)
    hour, minute = (int(part) for part in shift_start.split(":"))
    shift = start.replace(hour=hour, minute=minute, second=0, microsecond=0)
    ahead = shift - start if shift > start else shift + timedelta(days=1) - start
    return ahead / timedelta(minutes=1)


def _limit_min(week: WeekPlan, site: Site) -> float:
    """Minutes from the first round's start to the shift start."""
    first = week.mornings[0].at
    hour, minute = (int(part) for part in site.shift_start.split(":"))
    begun = int(clock(first)[:2]) * 60 + int(clock(first)[3:])
    return float((hour * 60 + minute - begun) % (24 * 60))


def week_html(week: WeekPlan, site: Site) -> str:
    """The page of a week. The same week and site give the same bytes; nothing is loaded."""
    say, days = site.say, [morning.at for morning in week.mornings]
    return (
        environment()
        .get_template("week.html.j2")
        .render(
            week=week,
            say=say,
            aid=aid(say),
            style=Markup(page_style() + STYLE),
            minutes=Markup(minutes_svg(week.mornings, limit_min=_limit_min(week, site), say=say)),
            fans=[(grease, Markup(fan_svg(grease, days, say))) for grease in week.greases],
            machine_halves=_halves(machine_days(week)),
            people=people(week),
            people_by_hour=people_by_hour(week),
            mend=by_reason(week.mend_first, site),
            keep=kept_by_nobody(week),
            no_gun=by_reason(week.no_gun, site),
            window_min=lambda technician: window_min(technician, week.shift_start),
            by_unit=lambda morning: by_unit(morning, say),
            order_words=lambda line: order_words(line, say),
            units={unit.unit: say.name(site.types[unit.type].title) for unit in site.units},
            name=lambda joint, unit: joint_name(joint, unit, site),
        )
    )
