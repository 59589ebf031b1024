"""The first day's pages: one self-contained HTML file for the phone and for paper."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from greaseroute.cards.card_model import StopBlock, WalkBlock, walk_blocks
from greaseroute.cards.card_words import in_language
from greaseroute.cards.cautions import aid, local_caution, own_cautions, sources
from greaseroute.cards.emergency import emergency
from greaseroute.cards.lessons import KindLesson, glossary, lesson_of, questions, troubles
from greaseroute.cards.pages import environment, page_style
from greaseroute.cards.stop_signs import StopSigns
from greaseroute.drawings import drawing, map_svg
from greaseroute.plan.first_day import FirstDay, LearnerStop
from greaseroute.plan.round import RoundPlan
from greaseroute.site.model import Site
from greaseroute.texts.language import ENGLISH, Language


@dataclass(frozen=True, slots=True)
class MachinePage:
    """One machine type in the order met: its stops, the kinds of joint new there, those known."""

    title: str
    family: str
    stops: tuple[tuple[LearnerStop, StopBlock], ...]
    kinds: tuple[KindLesson, ...]
    known: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SignOff:
    """One line to sign: a kind of joint on a family, met on which day."""

    kind: str
    family: str
    unit: str
    day: int
    can_do: str


SMALL = drawing.PictureSize(width_px=250.0, tallest_px=88.0)
"""Three machines on a sheet of A4, side and top view, with numbers of 8 pt."""

MAP_PX = 620.0
"""Width of the map: on the 192 mm between the margins its smallest text stands 8.3 pt high."""


def learner_walks(first: FirstDay, site: Site) -> tuple[WalkBlock, ...]:
    """The walk of a first day as page and sheets show it, in small drawings."""
    return walk_blocks(_by_the_learners_clock(first), site, size=SMALL)


def _by_the_learners_clock(first: FirstDay) -> RoundPlan:
    """The round with the cautions of the learner's own times: light, when to check in."""
    own = {stop.unit: stop for stop in first.stops}
    walks = [
        walk.model_copy(
            update={
                "home_cautions": first.home_cautions,
                "stops": tuple(
                    stop.model_copy(update={"way_cautions": own[stop.unit].way_cautions,
                                            "place_cautions": own[stop.unit].place_cautions})
                    if stop.unit in own else stop
                    for stop in walk.stops
                ),
            }
        )
        for walk in first.round.technicians
    ]  # fmt: skip
    return first.round.model_copy(update={"technicians": tuple(walks)})


def machine_pages(
    first: FirstDay, site: Site, walks: Sequence[WalkBlock] | None = None
) -> tuple[MachinePage, ...]:
    """One page for each machine type, in the order met; ``walks`` as of `learner_walks`."""
    walks = learner_walks(first, site) if walks is None else walks
    blocks = {block.unit: block for walk in walks for block in walk.stops}
    types: dict[str, list[LearnerStop]] = {}
    for stop in first.stops:
        types.setdefault(stop.type, []).append(stop)
    pages = []
    seen: set[str] = set()
    for name, stops in types.items():
        kinds = dict.fromkeys(each.kind for stop in stops for each in stop.lessons)
        pages.append(
            MachinePage(
                title=site.types[name].title if name in site.types else name,
                family=stops[0].family,
                stops=tuple((stop, blocks[stop.unit]) for stop in stops if stop.unit in blocks),
                kinds=tuple(lesson_of(kind, site.say) for kind in kinds if kind not in seen),
                known=tuple(kind for kind in kinds if kind in seen),
            )
        )
        seen.update(kinds)
    return tuple(pages)


def sign_off_list(first: FirstDay, say: Language = ENGLISH) -> tuple[SignOff, ...]:
    """What is signed for, kind by kind, in the order the kinds are met."""
    lessons = [(1, each) for stop in first.stops for each in stop.lessons]
    lessons += [(later.day, each) for later in first.later for each in later.lessons]
    kinds = list(dict.fromkeys(each.kind for _, each in lessons))
    lessons.sort(key=lambda pair: (kinds.index(pair[1].kind), pair[0]))
    return tuple(
        SignOff(each.kind, each.family, each.unit, day, lesson_of(each.kind, say).can_do)
        for day, each in lessons
    )


def not_met_rows(first: FirstDay) -> list[tuple[str, list[str], str]]:
    """(family, kinds, reason) of what these days do not meet, one row for each reason."""
    kinds: dict[tuple[str, str], list[str]] = {}
    for each in first.not_met:
        kinds.setdefault((each.family, each.reason), []).append(each.kind)
    return [(family, found, why) for (family, why), found in kinds.items()]


def inspected(block: StopBlock, family: str, say: Language) -> list[str]:
    """Joints of a stop that are only checked, those of which the same is to be said together."""
    joints: dict[str, list[str]] = {}
    for line in block.inspect:
        joint, _, what = line.partition(": ")
        name = in_language(say, joint, family)
        joints.setdefault(in_language(say, what, family), []).append(name)
    return [f"{', '.join(names)}: {what}" for what, names in joints.items()]


def first_day_html(first: FirstDay, site: Site, *, walks: Sequence[WalkBlock] | None = None) -> str:
    """The pages of a first day. The same day and site give the same bytes; nothing is loaded.

    ``walks`` are the blocks of `learner_walks`, if they are there already.
    """
    say, pages = site.say, machine_pages(first, site, walks)
    signs = StopSigns(say, tuple(own_cautions(first.round.cautions)))
    named = {stop.unit: signs.named(block) for page in pages for stop, block in page.stops}
    return (
        environment()
        .get_template("first_day.html.j2")
        .render(
            first=first,
            say=say,
            aid=aid(say),
            style=Markup(page_style() + drawing.STYLE),
            map=Markup(map_svg.map_svg(site, first.round, width_px=MAP_PX)),
            signs=signs,
            named_signs=named,
            sources=sources(first.round, site.time_zone),
            emergency=emergency(first.round, say),
            pages=pages,
            inspected=lambda block, page: inspected(block, page.family, say),
            sign_off=sign_off_list(first, say),
            troubles=troubles(say),
            glossary=glossary(say),
            questions=questions(say),
            not_met=not_met_rows(first),
            **_sayings(say),
        )
    )


def _sayings(say: Language) -> dict[str, Callable[..., str]]:
    """What the page asks for texts of the plan in the language."""

    def sentence(text: str, page: MachinePage) -> str:
        return in_language(say, text, page.family)

    def said_note(note: str) -> str:
        text = say.sentence(note)
        return text[:1].upper() + text[1:]

    return {
        "sentence": sentence,
        "told": lambda texts, page: say.listed(sentence(text, page) for text in texts),
        "named": lambda kinds: say.listed(map(say.name, kinds)),
        "caution_in": lambda text: local_caution(text, say),
        "said_note": said_note,
    }
