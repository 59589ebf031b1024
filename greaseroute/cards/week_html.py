"""The week's page: one self-contained HTML file for the phone and for paper."""

from markupsafe import Markup

from greaseroute.cards.cautions import aid
from greaseroute.cards.pages import environment, page_style
from greaseroute.drawings.week_svg import STYLE, fan_svg, minutes_svg
from greaseroute.plan.week import MorningPlan, OrderLine, Pack, PlannedService, WeekPlan
from greaseroute.plan.words import clock
from greaseroute.site.model import Site
from greaseroute.texts.language import ENGLISH, Language


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


def _limit_min(week: WeekPlan, site: Site) -> float:
    """Minutes from the first round's start to the shift start."""
    first = week.mornings[0].at
    hour, minute = (int(part) for part in site.shift_start.split(":"))
    begun = int(clock(first)[:2]) * 60 + int(clock(first)[3:])
    return float((hour * 60 + minute - begun) % (24 * 60))


def week_html(week: WeekPlan, site: Site) -> str:
    """The page of a week. The same week and site give the same bytes; nothing is loaded."""
    say, days = site.say, [morning.at for morning in week.mornings]
    families = {unit.unit: site.machine(unit).family for unit in site.units}
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
            by_unit=lambda morning: by_unit(morning, say),
            order_words=lambda line: order_words(line, say),
            units={unit.unit: say.name(site.types[unit.type].title) for unit in site.units},
            name=lambda joint, unit: say.name(joint, families.get(unit, "")),
        )
    )
