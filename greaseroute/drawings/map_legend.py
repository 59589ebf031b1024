"""The legend of the site map: a sample of each mark that the map uses, in plain words."""

from collections.abc import Iterator

from shapely.geometry import LineString, box

from greaseroute.drawings import map_ground
from greaseroute.drawings.map_walk import DASHES, TONES
from greaseroute.drawings.svg import Point2, View, num, tag, text_width, words
from greaseroute.plan.round import RoundPlan
from greaseroute.plan.tally import letter
from greaseroute.site.ground_plan import GroundPlan
from greaseroute.texts.language import ENGLISH, Language

SAMPLE = (26.0, 13.0)
ROW_PX = 19.0
TEXT_PX = 10.5
GAP_PX = 14.0

Entry = tuple[str, str]  # the sample drawn in a box at the origin, and its words


def entries(
    ground: GroundPlan, plan: RoundPlan | None, say: Language = ENGLISH
) -> tuple[Entry, ...]:
    """A sample and words for every kind of mark on this map, and for none that it lacks."""
    return (
        *(_walk_entries(plan, say) if plan else ()),
        *(_traffic_entries(say) if plan and plan.leaving else ()),
        *_ground_entries(ground, say),
    )


def _walk_entries(plan: RoundPlan, say: Language) -> Iterator[Entry]:
    many = len(plan.technicians) > 1
    for index, technician in enumerate(plan.technicians):
        line = tag(
            "path",
            d=f"M0 {num(SAMPLE[1] / 2)}H{num(SAMPLE[0])}",
            stroke=TONES[index % len(TONES)],
            stroke_width="2.2",
            stroke_dasharray=DASHES[index % len(DASHES)],
            fill="none",
        )
        told = {"name": technician.name}
        if many:
            yield line, say("map.walk_lettered", **told, letter=letter(index))
        else:
            yield line, say("map.walk", **told)
    dot = tag("circle", cx="13", cy="6.5", r="6.5", fill=TONES[0])
    yield dot + words("1", (13, 10.5), class_="gm-t gm-no"), say("map.stop")
    yield _swatch("gm-seen"), say("map.machine")
    yield _swatch("gm-other"), say("map.other")


def _traffic_entries(say: Language) -> Iterator[Entry]:
    yield map_ground.way_out(box(2, 1, 24, 12), View(0.0, SAMPLE[1], 1.0)), say("map.way_out")


def _swatch(class_: str) -> str:
    return tag("rect", x="4", y="2", width="18", height="9", class_=class_)


def _ground_entries(ground: GroundPlan, say: Language) -> Iterator[Entry]:
    view = View(0.0, SAMPLE[1], 1.0)
    area = box(0, 0, *SAMPLE)
    line = LineString([(0, SAMPLE[1] / 2), (SAMPLE[0], SAMPLE[1] / 2)])
    kinds = (
        (ground.obstacles, map_ground.obstacle(area, view), say("map.obstacle")),
        (ground.no_go, map_ground.shut(area, view), say("map.no_go")),
        (ground.haul_roads, map_ground.road(area, view), say("map.haul_road")),
        (ground.crossings, map_ground.crossing(area, view), say("map.crossing")),
        (ground.slow_ground, map_ground.slow(area, view), say("map.slow")),
        (ground.barriers, map_ground.barrier(line, view), say("map.barrier")),
        (ground.gates, _gate_sample(view), say("map.gate")),
    )
    yield from ((sample, text) for present, sample, text in kinds if present)
    yield (
        tag("rect", x="0.5", y="1", width="25", height="11", class_="gm-ground"),
        say("map.boundary"),
    )


def _gate_sample(view: View) -> str:
    middle = SAMPLE[1] / 2
    left = LineString([(0, middle), (8, middle)])
    right = LineString([(18, middle), (26, middle)])
    opening = LineString([(9, middle), (17, middle)])
    return (
        map_ground.barrier(left, view)
        + map_ground.barrier(right, view)
        + map_ground.gate(opening, view)
    )


def legend(found: tuple[Entry, ...], *, top: float, width: float) -> tuple[str, float]:
    """The legend set in as many columns as fit, and its height."""
    widest = max(text_width(text, TEXT_PX) for _, text in found) + SAMPLE[0] + 6 + GAP_PX
    columns = max(1, int((width - GAP_PX) // widest))
    rows = -(-len(found) // columns)
    parts = [
        _entry(entry, (GAP_PX + widest * (k // rows), top + ROW_PX * (k % rows)))
        for k, entry in enumerate(found)
    ]
    return "".join(parts), rows * ROW_PX


def _entry(entry: Entry, at: Point2) -> str:
    sample, text = entry
    label = words(text, (SAMPLE[0] + 6, 10.5), class_="gm-t", font_size=TEXT_PX)
    return tag("g", sample + label, transform=f"translate({num(at[0])} {num(at[1])})")
