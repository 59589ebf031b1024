"""The week's page: one self-contained HTML file for the phone and for paper."""

from markupsafe import Markup

from greaseroute.cards.cautions import AID
from greaseroute.cards.pages import environment, page_style
from greaseroute.drawings.week_svg import STYLE, day_label, fan_svg, minutes_svg
from greaseroute.plan.week import MorningPlan, OrderLine, Pack, PlannedService, WeekPlan
from greaseroute.plan.words import clock, count, listed
from greaseroute.site.model import Site


def pack_words(packs: tuple[Pack, ...]) -> str:
    """``1 pail of 18 kg and 3 cartridges of 0.4 kg``."""
    return listed(f"{count(p.count, p.word)} of {p.size_kg:g} kg" for p in packs)


def order_words(line: OrderLine) -> str:
    """The order in a sentence; where nothing is needed, that."""
    if line.stock is None:
        levels = f"order at {line.reorder_level}, up to {line.up_to} cartridges"
        return f"stock not told: count it ({levels})"
    if line.order_by is None:
        return f"nothing: stock stays above {line.reorder_level}"
    if not line.packs:
        return "nothing: stock covers the lead time and one more span"
    return f"{pack_words(line.packs)}, by {day_label(line.order_by)}"


def move_words(service: PlannedService) -> str:
    """What is to be said of a service's morning: nothing where it falls due on it."""
    if service.backlog:
        return "overdue"
    if service.over:
        return "no morning keeps its interval"
    if service.days_moved == 0:
        return ""
    mornings = count(abs(service.days_moved), "morning")
    return f"{mornings} {'early' if service.days_moved < 0 else 'after its due one'}"


def by_unit(morning: MorningPlan) -> list[tuple[str, list[tuple[str, list[str]]]]]:
    """The joints of a morning, unit by unit, those of which the same is to be said together."""
    found: dict[str, dict[str, list[str]]] = {}
    for service in morning.services:
        told = found.setdefault(service.unit, {})
        told.setdefault(move_words(service), []).append(service.joint)
    return [(unit, list(told.items())) for unit, told in found.items()]


def _limit_min(week: WeekPlan, site: Site) -> float:
    """Minutes from the first round's start to the shift start."""
    first = week.mornings[0].at
    hour, minute = (int(part) for part in site.shift_start.split(":"))
    begun = int(clock(first)[:2]) * 60 + int(clock(first)[3:])
    return float((hour * 60 + minute - begun) % (24 * 60))


def week_html(week: WeekPlan, site: Site) -> str:
    """The page of a week. The same week and site give the same bytes; nothing is loaded."""
    days = [morning.at for morning in week.mornings]
    return (
        environment()
        .get_template("week.html.j2")
        .render(
            week=week,
            aid=AID,
            style=Markup(page_style() + STYLE),
            minutes=Markup(minutes_svg(week.mornings, limit_min=_limit_min(week, site))),
            fans=[(grease, Markup(fan_svg(grease, days))) for grease in week.greases],
            by_unit=by_unit,
            order_words=order_words,
            units={unit.unit: site.types[unit.type].title for unit in site.units},
        )
    )
