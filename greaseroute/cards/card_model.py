"""What the card shows, worked out before any markup: walks, stops, stands, rows, drawings."""

import itertools
import string
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from shapely.geometry.base import BaseGeometry

from greaseroute.cards.cautions import ToldCaution, stop_cautions, told_cautions
from greaseroute.cards.leaving import stop_notes
from greaseroute.cards.legs import Leg, leg_of
from greaseroute.cards.lonlat import geo_link
from greaseroute.cards.place_words import place_words
from greaseroute.catalogue.kinematics.placed import PlacedMachine
from greaseroute.drawings.drawing import CARD_SIZE, PictureSize, drawn_side, drawn_top, scene
from greaseroute.drawings.drawing_marks import Mark, StandMark
from greaseroute.drawings.leg_svg import leg_svg
from greaseroute.drawings.svg import Box
from greaseroute.plan.round import (
    FittingTask,
    LookTask,
    PlaceCaution,
    RoundPlan,
    StandVisit,
    Stop,
    TechnicianPlan,
)
from greaseroute.plan.tally import NumberedStop, WalkTally, numbered, tally
from greaseroute.plan.words import band_words, clock
from greaseroute.processes import side_by_side
from greaseroute.site.fleet import Unit
from greaseroute.site.model import Site
from greaseroute.site.placed_units import outlines, placed_unit


@dataclass(frozen=True, slots=True)
class PumpRow:
    """One fitting on the card; ``put_in`` cartridges go into the gun before it.

    ``height_m`` is above the feet, ``body`` how it is held for it.
    """

    number: int
    task: FittingTask
    fitting: str
    height_m: str
    body: str
    put_in: int


@dataclass(frozen=True, slots=True)
class LookRow:
    """One look point on the card."""

    label: str
    task: LookTask


@dataclass(frozen=True, slots=True)
class StandBlock:
    """One stand: its letter, where it is, what comes before the first fitting, its rows.

    ``call`` is true where one stands clear while the unit is moved: its steps are done one after
    the other; ``isolate_again`` where their last is to isolate it again. ``side_cut`` and
    ``top_cut`` are the parts of the drawings that belong to it, as left, top, width and height in
    the picture.
    """

    letter: str
    where: str
    call: bool
    isolate_again: bool
    before: tuple[str, ...]
    pumps: tuple[PumpRow, ...]
    looks: tuple[LookRow, ...]
    side_cut: Box = (0.0, 0.0, 0.0, 0.0)
    top_cut: Box = (0.0, 0.0, 0.0, 0.0)

    @property
    def labels(self) -> tuple[str, ...]:
        """What is marked on the drawings for it: its rows and its letter."""
        return (*(str(row.number) for row in self.pumps), *(r.label for r in self.looks),
                self.letter)  # fmt: skip


@dataclass(frozen=True, slots=True)
class PostureBlock:
    """The stands worked in one posture, with the two drawings that number their fittings."""

    posture: str
    title: str
    side: str
    top: str
    stands: tuple[StandBlock, ...]


@dataclass(frozen=True, slots=True)
class StopBlock:
    """One stop: a unit with its work, or a visit to the store (``load`` by grease).

    ``around`` are the cautions of the leg to it and of where one stands, ``cautions`` those of
    the machine, ``way_back`` those of the last leg where it is the last stop. ``moved_first``: the
    unit is moved before it is isolated, as nothing is done on it where it is parked.
    """

    label: str
    unit: str
    title: str
    notes: str
    arrive: str
    leave: str
    arrive_iso: str
    leave_iso: str
    wait_s: float
    leg: Leg
    sketch: str
    geo: str
    isolation: tuple[str, ...]
    moved_first: bool
    around: tuple[ToldCaution, ...]
    cautions: tuple[str, ...]
    way_back: tuple[ToldCaution, ...]
    never_pump: tuple[str, ...]
    inspect: tuple[str, ...]
    postures: tuple[PostureBlock, ...]
    reload: bool
    load: dict[str, int]


@dataclass(frozen=True, slots=True)
class WalkBlock:
    """One technician's part of the card; ``changed`` is what a plan under way changes for them."""

    technician: TechnicianPlan
    changed: str
    work: WalkTally
    bag: tuple[tuple[str, str, int, int, int], ...]
    stops: tuple[StopBlock, ...]


def walk_blocks(
    plan: RoundPlan,
    site: Site,
    *,
    meanwhile: Callable[[], object] = lambda: None,
    size: PictureSize = CARD_SIZE,
) -> tuple[WalkBlock, ...]:
    """The whole plan as the card shows it, technician by technician.

    Stops are drawn side by side; ``meanwhile`` is what else is to be done by then, ``size`` how
    large a machine is drawn.
    """
    walks = numbered(plan)
    stops = [stop for _, each in walks for stop in each]
    shapes = outlines(site)
    tasks = [task for s in stops for at in s.stop.stands for task in (*at.fittings, *at.looks)]
    blocks = side_by_side(
        lambda number: _stop_block(stops[number], plan, site, shapes=shapes, size=size),
        len(stops),
        common=tasks,
        meanwhile=meanwhile,
    )
    rest = iter(blocks)
    return tuple(
        WalkBlock(
            technician=technician,
            changed=_changed(technician, plan),
            work=tally(technician),
            bag=_bag(technician, plan, site),
            stops=tuple(itertools.islice(rest, len(each))),
        )
        for technician, each in walks
    )


def _changed(technician: TechnicianPlan, plan: RoundPlan) -> str:
    """The sentence of a rest of a round that is about one technician; "" where there is none."""
    own = (note for note in plan.notes if note.startswith(f"{technician.name}: "))
    return next(own, "") if plan.rest_of_round_from else ""


def _bag(
    technician: TechnicianPlan, plan: RoundPlan, site: Site
) -> tuple[tuple[str, str, int, int, int], ...]:
    """Rows grease, guns, carry, used, reserve of one bag; one technician alone carries it all."""
    counts = technician.cartridges or (plan.cartridges if len(plan.technicians) == 1 else {})
    crew = {person.name: person.guns for person in site.technicians}
    own = crew.get(technician.name, ())
    guns = {
        grease: ", ".join(gun.name for gun in site.guns if gun.grease == grease and gun.name in own)
        for grease in counts
    }
    return tuple((g, guns[g], c.carry, c.used, c.reserve) for g, c in counts.items())


def _stop_block(
    numbered_stop: NumberedStop,
    plan: RoundPlan,
    site: Site,
    *,
    shapes: dict[str, BaseGeometry],
    size: PictureSize,
) -> StopBlock:
    stop = numbered_stop.stop
    unit = next((unit for unit in site.units if unit.unit == stop.unit and not stop.reload), None)
    never = [item.text for item in plan.never_pump if item.unit == stop.unit]
    inspect = [f"{item.joint}: {item.text}" for item in plan.inspect if item.unit == stop.unit]
    leg = leg_of(stop, site.ground)
    around = told_cautions((*stop.way_cautions, *stop.place_cautions))
    told = {caution.key for caution in around}
    return StopBlock(
        label=numbered_stop.label,
        unit=stop.unit,
        title=site.types[unit.type].title if unit else "",
        notes=stop_notes(plan, unit, site.say) if unit else "",
        arrive=clock(stop.arrive),
        leave=clock(stop.leave),
        arrive_iso=stop.arrive,
        leave_iso=stop.leave,
        wait_s=stop.wait_s,
        leg=leg,
        geo=geo_link(site, stop),
        sketch=_sketch(leg, stop.unit if unit else "", site, shapes=shapes),
        isolation=stop.isolation,
        moved_first=_moved_first(stop),
        around=around,
        cautions=stop_cautions(key for key in stop.cautions if key not in told),
        way_back=told_cautions(_home_cautions(numbered_stop, plan)),
        never_pump=tuple(never),
        inspect=tuple(inspect),
        postures=tuple(_posture_blocks(unit, stop.stands, site, size=size)) if unit else (),
        reload=stop.reload,
        load=stop.load,
    )


def _moved_first(stop: Stop) -> bool:
    """Whether the first thing done is a call; the plan then has no steps of isolation before it."""
    called = bool(stop.stands) and stop.stands[0].event == "posture"
    return called and not stop.isolation_steps


def _home_cautions(stop: NumberedStop, plan: RoundPlan) -> tuple[PlaceCaution, ...]:
    """Those of the way back, where a stop is the last one of its walk."""
    ends = (t for t in plan.technicians if t.stops and t.stops[-1] is stop.stop)
    return next((t.home_cautions for t in ends), ())


def _sketch(leg: Leg, unit: str, site: Site, *, shapes: dict[str, BaseGeometry]) -> str:
    """The leg drawn, or "" where nobody walks."""
    if not leg.length_m:
        return ""
    others = [shape for name, shape in shapes.items() if name != unit]
    label = f"{leg.length_m:.0f} m to the {leg.direction}"
    return leg_svg(leg.line, site.ground, outlines=others, end=shapes.get(unit), label=label)


def _posture_blocks(
    unit: Unit, stands: tuple[StandVisit, ...], site: Site, *, size: PictureSize
) -> Iterator[PostureBlock]:
    """Stands in the order walked, cut where the unit takes another posture."""
    letters, pumps, looks = lettered(), itertools.count(1), itertools.count(1)
    groups = [
        (tuple(group), placed_unit(site, unit, posture=posture or None))
        for posture, group in itertools.groupby(stands, key=lambda stand: stand.posture)
    ]
    for (visits, placed), places in zip(groups, place_words(groups), strict=True):
        blocks = tuple(
            _stand_block(visit, where, letter=next(letters), counters=(pumps, looks))
            for visit, where in zip(visits, places, strict=True)
        )
        yield _drawn(placed, visits, blocks, clearance_m=site.rules.clearance_m, size=size)


def lettered() -> Iterator[str]:
    """a, b ... z, aa, ab ... for the stands of one unit."""
    for size in itertools.count(1):
        yield from map("".join, itertools.product(string.ascii_lowercase, repeat=size))


def _stand_block(
    visit: StandVisit,
    where: str,
    *,
    letter: str,
    counters: tuple[Iterator[int], Iterator[int]],
) -> StandBlock:
    pumps, looks = counters
    return StandBlock(
        letter=letter,
        where=where,
        call=bool(visit.event),
        isolate_again=visit.event == "posture",
        before=visit.before,
        pumps=tuple(
            PumpRow(
                next(pumps),
                task,
                fitting=_fitting(task),
                height_m=f"{task.at_m[2] - visit.height_m:.1f}",
                body=band_words(task.band),
                put_in=task.put_in or int(task.cartridge_change),
            )
            for task in visit.fittings
        ),
        looks=tuple(LookRow(f"L{next(looks)}", look) for look in visit.looks),
    )


HEADS = {"remote": "fitting on the grease block", "flush": "flush fitting"}
"""What a technician calls a fitting whose head is not conical."""


def _fitting(task: FittingTask) -> str:
    """The fitting's name, and its kind where that is not the usual one with a conical head."""
    kind = HEADS.get(task.head)
    return task.fitting if kind is None else f"{task.fitting}, {kind}"


def _drawn(
    placed: PlacedMachine,
    visits: tuple[StandVisit, ...],
    blocks: tuple[StandBlock, ...],
    *,
    clearance_m: float,
    size: PictureSize,
) -> PostureBlock:
    marks = [Mark(str(row.number), row.task.at_m) for block in blocks for row in block.pumps]
    marks += [Mark(row.label, row.task.at_m, "look") for block in blocks for row in block.looks]
    marks += [Mark("no", f.at_m, "never") for f in placed.fittings if f.joint.never_pump]
    feet = [
        StandMark(block.letter, (visit.x_m, visit.y_m), raised=visit.deck is not None)
        for block, visit in zip(blocks, visits, strict=True)
    ]
    shown = scene(placed, marks=marks, stands=feet, clearance_m=clearance_m, size=size)
    side, top = drawn_side(shown, with_style=False), drawn_top(shown, with_style=False)
    return PostureBlock(
        posture=placed.posture,
        title=placed.machine_type.posture(placed.posture).title,
        side=side.svg,
        top=top.svg,
        stands=tuple(
            replace(b, side_cut=side.cut(b.labels), top_cut=top.cut(b.labels)) for b in blocks
        ),
    )
