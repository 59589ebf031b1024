"""Sums over a plan that the summary and the card both print."""

from collections.abc import Iterator
from dataclasses import dataclass

from greaseroute.plan.round import FittingTask, LeftOut, RoundPlan, StandVisit, Stop, TechnicianPlan
from greaseroute.texts.language import ENGLISH, Language


@dataclass(frozen=True, slots=True)
class WalkTally:
    """What one technician does: units visited, fittings pumped, strokes, look points."""

    units: int
    fittings: int
    strokes: int
    looks: int


@dataclass(frozen=True, slots=True)
class NumberedStop:
    """A stop with the label it carries on the map and the card; a store visit has none."""

    label: str
    stop: Stop


def numbered(plan: RoundPlan) -> tuple[tuple[TechnicianPlan, tuple[NumberedStop, ...]], ...]:
    """Each technician with the stops labelled 1, 2, 3 or, where several walk, A1, A2, B1."""
    many = len(plan.technicians) > 1
    return tuple(
        (technician, _number(technician, letter(index) if many else ""))
        for index, technician in enumerate(plan.technicians)
    )


def letter(index: int) -> str:
    """A, B ... Z, AA, AB for technicians 0, 1 ... 25, 26, 27."""
    head, tail = divmod(index, 26)
    return (letter(head - 1) if head else "") + chr(ord("A") + tail)


def _number(technician: TechnicianPlan, prefix: str) -> tuple[NumberedStop, ...]:
    stops, number = [], 0
    for stop in technician.stops:
        number += not stop.reload
        stops.append(NumberedStop("" if stop.reload else f"{prefix}{number}", stop))
    return tuple(stops)


def unit_stops(technician: TechnicianPlan) -> tuple[Stop, ...]:
    """The stops at machines, without the visits to a store."""
    return tuple(stop for stop in technician.stops if not stop.reload)


def stand_visits(technician: TechnicianPlan) -> Iterator[StandVisit]:
    """Every stand of a technician, in order."""
    for stop in technician.stops:
        yield from stop.stands


def stop_fittings(stop: Stop) -> tuple[FittingTask, ...]:
    """The fittings of one stop, in the order they are pumped."""
    return tuple(task for stand in stop.stands for task in stand.fittings)


def tally(technician: TechnicianPlan) -> WalkTally:
    """Count one technician's work."""
    tasks = [task for stand in stand_visits(technician) for task in stand.fittings]
    return WalkTally(
        units=len({stop.unit for stop in unit_stops(technician)}),
        fittings=len(tasks),
        strokes=sum(task.strokes for task in tasks),
        looks=sum(len(stand.looks) for stand in stand_visits(technician)),
    )


def left_by_reason(plan: RoundPlan) -> dict[tuple[str, str], dict[str, list[LeftOut]]]:
    """Left-out joints grouped by (reason, what helps), then by unit, in the plan's order."""
    groups: dict[tuple[str, str], dict[str, list[LeftOut]]] = {}
    for item in plan.left:
        units = groups.setdefault((item.reason, item.helps), {})
        units.setdefault(item.unit, []).append(item)
    return groups


def left_name(item: LeftOut, say: Language = ENGLISH) -> str:
    """``boom foot pin`` or ``boom foot pin (left)``."""
    joint = say.name(item.joint)
    return f"{joint} ({say.name(item.fitting)})" if item.fitting else joint
