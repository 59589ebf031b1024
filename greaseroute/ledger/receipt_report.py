"""What a receipt tells, by the plan it belongs to: as the file of the same card would tell it."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any, Final, Literal

from greaseroute.errors import Fault
from greaseroute.ledger.card_file import CardEntry, CardFile, CardMeter, report_of
from greaseroute.ledger.event_json import named_by_content
from greaseroute.ledger.events import PlanHandedOut
from greaseroute.ledger.packing import CutOff
from greaseroute.ledger.planned import PlannedFitting, PlannedWalk
from greaseroute.ledger.receipt import (
    AS_PLANNED,
    COULD_NOT,
    NOTHING,
    OTHERWISE,
    Ticked,
    WalkTold,
    unpacked,
)
from greaseroute.ledger.report import Report

PlanOf = Callable[[str], PlanHandedOut | None]


def read_receipt(text: str, file: str, plan_of: PlanOf) -> tuple[Report | None, list[Fault]]:
    """What a receipt tells, by the plan it belongs to; or None and what is wrong with it."""
    try:
        told = unpacked(text)
    except CutOff as error:
        do = "copy it whole and send it again, or hand in the card's file"
        allowed = "a receipt as the card shows it, with a check sum that fits"
        return None, [Fault(file, 1, "receipt", "check sum", str(error), allowed, do)]
    plan = plan_of(told.plan)
    if plan is None:
        do = "give the round.json of its plan with --plan"
        value = f"plan {told.plan}"
        return None, [Fault(file, 1, "receipt", "plan", value, "a plan of this record", do)]
    fault = _unlike(told, plan)
    if fault is not None:
        return None, [Fault(file, 1, "receipt", *fault, "hand in the card's file")]
    return _report(told, plan, file), []


def _unlike(told: WalkTold, plan: PlanHandedOut) -> tuple[str, str, str] | None:
    """Field, value and what is allowed where a receipt does not fit its plan."""
    if told.walk >= len(plan.walks):
        return "walk", str(told.walk + 1), f"one of the plan's {len(plan.walks)}"
    walk = plan.walks[told.walk]
    sizes = (len(told.fittings), len(told.checks), len(told.minutes))
    planned = (len(_fittings(walk)), len(_checks(walk)), len(walk.stops))
    if sizes != planned:
        return "plan", _sizes(sizes), f"the plan's {_sizes(planned)}"
    return None


def _sizes(sizes: tuple[int, int, int]) -> str:
    return f"{sizes[0]} fittings, {sizes[1]} checks, {sizes[2]} stops"


def _fittings(walk: PlannedWalk) -> list[tuple[int, PlannedFitting]]:
    return [(k, fitting) for k, stop in enumerate(walk.stops) for fitting in stop.fittings]


def _checks(walk: PlannedWalk) -> list[tuple[int, str]]:
    return [(k, check) for k, stop in enumerate(walk.stops) for check in stop.checks]


def _report(told: WalkTold, plan: PlanHandedOut, file: str) -> Report:
    """The receipt as the file of the same card would tell it, to the minute of each stop."""
    walk = plan.walks[told.walk]
    told_at = plan.at + timedelta(minutes=told.told_min)
    card = CardFile(
        format="greaseroute card 2",
        round=told.plan,
        site=plan.site,
        planned_for=plan.at,
        exported_at=told_at,
        technician=walk.technician,
        device=told.device,
        events=tuple(_entries(told, walk, plan.at, told_at=told_at)),
        meters=tuple(_card_meters(told, walk, plan.at, told_at=told_at)),
    )
    return report_of(card, file)


def _when(told: WalkTold, stop: int, begun: datetime, *, told_at: datetime) -> datetime:
    minute = told.minutes[stop]
    return told_at if minute is None else begun + timedelta(minutes=minute)


def _entries(
    told: WalkTold, walk: PlannedWalk, begun: datetime, *, told_at: datetime
) -> Iterator[CardEntry]:
    for (stop, fitting), ticked in zip(_fittings(walk), told.fittings, strict=True):
        names: dict[str, Any] = {"joint": fitting.joint, "fitting": fitting.fitting}
        if ticked.state in (AS_PLANNED, OTHERWISE):
            strokes = fitting.strokes if ticked.strokes is None else ticked.strokes
            names |= {
                "strokes": strokes,
                "planned_strokes": fitting.strokes,
                "grease": fitting.grease,
                "gun": fitting.gun,
                "put_in": fitting.put_in,
            }
        if ticked != Ticked():
            at = _when(told, stop, begun, told_at=told_at)
            yield _entry(ticked, names, (told.plan, walk, stop), at=at)
    for (stop, check), ticked in zip(_checks(walk), told.checks, strict=True):
        if ticked != Ticked():
            at = _when(told, stop, begun, told_at=told_at)
            yield _entry(ticked, {"look": check}, (told.plan, walk, stop), at=at)


_DONE: Final[dict[int, bool | None]] = {
    NOTHING: None, AS_PLANNED: True, OTHERWISE: True, COULD_NOT: False
}  # fmt: skip


def _entry(
    ticked: Ticked, names: dict[str, Any], where: tuple[str, PlannedWalk, int], *, at: datetime
) -> CardEntry:
    """One row of the card; its id is made of what it tells, since a receipt carries none."""
    plan, walk, stop = where
    uptake: Literal["took too much"] | None = "took too much" if ticked.took_too_much else None
    values: dict[str, Any] = {
        **names,
        "technician": walk.technician,
        "unit": walk.stops[stop].unit,
        "done": _DONE[ticked.state],
        "reason": ticked.reason,
        "words": ticked.words,
        "defect": ticked.defect,
        "uptake": uptake,
        "found": ticked.found,
    }
    return CardEntry(id=named_by_content({"plan": plan, **values}), at=at, **values)


def _card_meters(
    told: WalkTold, walk: PlannedWalk, begun: datetime, *, told_at: datetime
) -> Iterator[CardMeter]:
    for stop, meter in enumerate(told.meters):
        if meter is not None:
            at = _when(told, stop, begun, told_at=told_at)
            unit = walk.stops[stop].unit
            yield CardMeter(unit=unit, meter_h=meter[0], sure=meter[1], at=at)
