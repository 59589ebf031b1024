"""What is possible but strange: it is remarked on with the usual range, and nothing is refused."""

from collections.abc import Iterator, Mapping
from datetime import timedelta

from pydantic import BaseModel

from greaseroute.errors import Remark
from greaseroute.records import usual_range
from greaseroute.site.crew import Grease, Gun, Severity, Technician, WorkingRules
from greaseroute.site.files.draft import FLEET, SERVICES, SITE, Draft
from greaseroute.site.files.settings import record_name
from greaseroute.site.fleet import Unit
from greaseroute.site.moment import time_of_day
from greaseroute.site.reach import Reach
from greaseroute.site.swept import slew_misses, surroundings, swing_circle, told
from greaseroute.texts.validation import Path, shown

# Thickeners that lubricating greases are made with, by the words of their data sheets.
THICKENERS = (
    "aluminium", "aluminum", "barium", "bentone", "bentonite", "calcium", "clay", "lithium",
    "polyurea", "silica", "sodium", "sulphonate", "sulfonate", "ptfe",
)  # fmt: skip
NLGI = ("000", "00", "0", "1", "2", "3", "4", "5", "6")
LONGEST_ROUND = timedelta(hours=6)  # from the round's start to the shift's
TENFOLD = 9.0  # a slip of one digit

_LISTS: Mapping[str, type[BaseModel]] = {
    "grease": Grease, "gun": Gun, "technician": Technician, "severity": Severity,
}  # fmt: skip


def strange(draft: Draft) -> Iterator[Remark]:
    """Every remark on a folder, good or not."""
    for check in (
        numbers,
        greases,
        hours_of_the_round,
        meters,
        no_history,
        no_room_to_slew,
    ):
        yield from check(draft)


def numbers(draft: Draft) -> Iterator[Remark]:
    """Numbers beyond the usual range of their field."""
    settings = draft.settings
    for kind, model in _LISTS.items():
        for number, entry in settings.entries(kind):
            yield from _of_table(draft, model, entry, path=(kind, number))
            reach = entry.get("reach")
            if isinstance(reach, dict):
                yield from _of_table(draft, Reach, reach, path=(kind, number, "reach"))
    rules = settings.text.data.get("rules")
    if isinstance(rules, dict):
        yield from _of_table(draft, WorkingRules, rules, path=("rules",))
    for unit in draft.units:
        for field in ("meter_h", "hours_per_day"):
            usual = _beyond(Unit, field, getattr(unit, field))
            if usual is not None:
                yield _of_unit(unit, field, f"{getattr(unit, field):g}", usual=usual)


def _of_table(
    draft: Draft,
    model: type[BaseModel],
    table: Mapping[str, object],
    *,
    path: tuple[str | int, ...],
) -> Iterator[Remark]:
    for field, value in table.items():
        if field in model.model_fields and isinstance(value, int | float):
            usual = _beyond(model, field, value)
            if usual is not None:
                yield _of_setting(draft, (*path, field), value, usual=usual)


def _beyond(model: type[BaseModel], field: str, value: float) -> str | None:
    """The usual range in words where a number lies outside it."""
    usual = usual_range(model, field)
    if usual is None or usual[0] <= value <= usual[1]:
        return None
    return f"{usual[0]:g} to {usual[1]:g}"


def greases(draft: Draft) -> Iterator[Remark]:
    """A thickener or a grade that no grease has."""
    for number, entry in draft.settings.entries("grease"):
        thickener, nlgi = entry.get("thickener"), entry.get("nlgi")
        path = ("grease", number)
        if isinstance(thickener, str) and not any(t in thickener.lower() for t in THICKENERS):
            usual = "such as lithium complex, calcium sulphonate, polyurea"
            yield _of_setting(draft, (*path, "thickener"), thickener, usual=usual)
        if isinstance(nlgi, str) and nlgi not in NLGI:
            yield _of_setting(draft, (*path, "nlgi"), nlgi, usual=", ".join(NLGI))


def hours_of_the_round(draft: Draft) -> Iterator[Remark]:
    """A shift that starts long after the round, which may be meant to start before it."""
    site = draft.settings.site
    if site is None:
        return
    begin, shift = time_of_day(site.round_start), time_of_day(site.shift_start)
    minutes = (shift.hour * 60 + shift.minute - begin.hour * 60 - begin.minute) % (24 * 60)
    if timedelta(minutes=minutes) > LONGEST_ROUND or minutes == 0:
        usual = f"up to {LONGEST_ROUND.total_seconds() / 3600:g} h after round_start {begin:%H:%M}"
        yield _of_setting(draft, ("shift_start",), site.shift_start, usual=usual)


def meters(draft: Draft) -> Iterator[Remark]:
    """A meter that shows ten times what it showed at the last service."""
    for unit in draft.units:
        known = [s.meter_h for s in draft.services if s.unit == unit.unit]
        known += [r.meter_h for r in draft.readings if r.unit == unit.unit and not r.new_meter]
        last_h = max(known, default=0.0)
        if last_h > 0 and unit.meter_h > TENFOLD * last_h and unit.meter_h - last_h > 1000:
            usual = f"near the last one on record, {last_h:g} h"
            yield _of_unit(unit, "meter_h", f"{unit.meter_h:g}", usual=usual)


def no_history(draft: Draft) -> Iterator[Remark]:
    """No service on record: everything is due."""
    if draft.units and not draft.services and not draft.recorded:
        usual = "one row for each unit and interval"
        do = f"all is due until {SERVICES} or the record says when it was greased"
        yield Remark(SERVICES, 1, "history", "-", "no service at all", usual, do)


def no_room_to_slew(draft: Draft) -> Iterator[Remark]:
    """A unit with a slew procedure whose swept circle touches something: no full turn there."""
    rules = draft.settings.site.rules if draft.settings.site is not None else WorkingRules()
    if draft.ground is None:
        return
    outlines = {unit: [placed.outline] for unit, placed in draft.placed.items()}
    around = surroundings(draft.ground, outlines, gap_m=rules.swing_gap_m)
    for unit in draft.units:
        placed = draft.placed.get(unit.unit)
        procedures = () if placed is None else (j.procedure for j in placed.machine_type.joints)
        if placed is None or not any(p is not None and p.turns for p in procedures):
            continue
        misses = slew_misses(placed, around.without(unit.unit))
        if misses:
            names = ", ".join(told(miss, rules.swing_gap_m) for miss in misses[:2])
            what = f"swing radius of {swing_circle(placed)[1]:.2f} m {names}"
            usual = f"{rules.swing_gap_m:g} m free all round; no full turn is asked for here"
            yield _of_unit(unit, "x_m, y_m", what, usual=usual)


def _of_setting(draft: Draft, path: Path, value: object, *, usual: str) -> Remark:
    record = record_name(draft.settings.text.data, path)
    line = draft.settings.text.line(path)
    return Remark(SITE, line, record, str(path[-1]), shown(value), usual, "look at it again")


def _of_unit(unit: Unit, field: str, value: str, *, usual: str) -> Remark:
    record = f"unit {unit.unit}"
    return Remark(FLEET, unit.line, record, field, value, usual, "look at it again")
