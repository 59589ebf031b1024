"""The due list on a terminal: a line for each machine and class, or a sentence for each joint."""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from greaseroute.intervals.owed import ASSUMED_DAYS, NEVER_RECORDED
from greaseroute.intervals.worklist import DueItem, carried_note
from greaseroute.plan.words import count
from greaseroute.site.model import Site

STATUS = {
    "due": "due",
    "ahead": "due soon",
    "not due": "not due",
    "look only": "check only",
    "never pumped": "never pumped",
}
MOST_NAMED = 3
"""Joints named on the line of a class; more are counted."""


@dataclass(frozen=True, slots=True)
class ClassLine:
    """What is due of one interval class on one machine."""

    unit: str
    interval: str
    items: tuple[DueItem, ...]

    @property
    def ratio(self) -> float:
        """The used share of the interval of the joint that is furthest over."""
        return max(item.overdue_ratio for item in self.items)

    @property
    def over(self) -> str:
        """How far over, in words: of the joint that is furthest."""
        worst = max(self.items, key=lambda item: item.overdue_ratio)
        if all(item.reason.startswith(NEVER_RECORDED) for item in self.items):
            return NEVER_RECORDED
        if worst.overdue_h >= 0.05:
            return f"{worst.overdue_h:.0f} h over" if worst.overdue_h >= 1 else "due now"
        if worst.overdue_days > 0:
            return f"{worst.overdue_days:g} days over"
        return "due soon" if all(item.status == "ahead" for item in self.items) else "due now"

    @property
    def joints(self) -> str:
        """The joints by name, or how many."""
        names = [item.joint for item in self.items]
        return ", ".join(names) if len(names) <= MOST_NAMED else f"{len(names)} joints"


def class_lines(items: Iterable[DueItem]) -> list[ClassLine]:
    """Every machine and class of which something is due, the furthest over first."""
    groups: dict[tuple[str, str], list[DueItem]] = {}
    for item in items:
        if item.due:
            groups.setdefault((item.unit, item.interval), []).append(item)
    lines = [ClassLine(unit, interval, tuple(found)) for (unit, interval), found in groups.items()]
    return sorted(lines, key=lambda line: -line.ratio)


def short_class(label: str) -> str:
    """An interval class for a table: ``25 h (50 h, shortened for wet)`` as ``25 h (wet)``."""
    return re.sub(r" \(.*, shortened for (.*)\)$", r" (\1)", label)


def due_text(site: Site, at: datetime, items: Sequence[DueItem]) -> str:
    """The list of the whole site, or of some units of it."""
    lines = [f"{site.name}, {at:%Y-%m-%d %H:%M}: what is due", ""]
    table = [
        (
            line.unit,
            short_class(line.interval),
            str(sum(item.fittings for item in line.items)),
            f"{100 * line.ratio:.0f} %",
            line.over,
            line.joints,
        )
        for line in class_lines(items)
    ]
    if table:
        lines += [
            *_table(("unit", "class", "fittings", "used", "how far over", "joints"), table),
            "",
        ]
    return "\n".join([*lines, *_below(site, at, items)])


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Columns as wide as their widest cell, figures to the right, the last one as it comes."""
    widths = [max(len(row[k]) for row in (head, *rows)) for k in range(len(head))]
    right = {2, 3}
    for row in (head, *rows):
        cells = [
            cell.rjust(width) if k in right else cell.ljust(width)
            for k, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        yield "  ".join(cells).rstrip()


def _below(site: Site, at: datetime, items: Sequence[DueItem]) -> Iterator[str]:
    """What stands under the table: the sum, then what is assumed, doubted, seen, away."""
    yield total_line(items)
    yield from _assumed(items)
    units = {item.unit for item in items}
    for note in site.past.meters:
        if note.unit in units:
            yield f"meter of {note.unit}: {note.text}."
    for trouble in site.past.troubles:
        if trouble.unit in units:
            place = ", ".join(name for name in (trouble.joint, trouble.fitting) if name)
            yield f"{trouble.unit}{', ' + place if place else ''}: {trouble.text}."
    for away in site.past.absences:
        until = f"until {away.until:%Y-%m-%d %H:%M}" if away.until else "nobody said until when"
        yield f"away: {away.unit} since {away.since:%Y-%m-%d}, {until}; nothing of it is due here."
    if note_text := carried_note(site, at):
        yield note_text


def total_line(items: Sequence[DueItem]) -> str:
    """How much is due, in one line."""
    due = [item for item in items if item.due]
    soon = sum(item.status == "ahead" for item in due)
    units = len({item.unit for item in due})
    look = sum(item.status == "look only" for item in items)
    return (
        f"due: {count(len(due), 'joint')}, {count(sum(i.fittings for i in due), 'fitting')} on "
        f"{count(units, 'unit')} "
        f"({soon} of the joints before the next round); {look} joints to check only"
    )


def _assumed(items: Sequence[DueItem]) -> Iterator[str]:
    """What is assumed where nothing was ever recorded, and how to end it."""
    never = [item for item in items if item.due and item.reason.startswith(NEVER_RECORDED)]
    if not never:
        return
    first = never[0]
    units = len({item.unit for item in never})
    yield (
        f"No service is on record for {count(len(never), 'joint')} of {count(units, 'unit')}: "
        f"{'it counts' if len(never) == 1 else 'they count'} as due, "
        f"weighed as if last greased {ASSUMED_DAYS:g} days ago. Say when that was: greaseroute "
        f'record SITE --event greased unit={first.unit} "joint={first.interval}" at=YYYY-MM-DD'
    )


def joint_sentences(site: Site, at: datetime, items: Sequence[DueItem]) -> str:
    """Each joint of some units in one sentence, what is due first."""
    lines = [f"{site.name}, {at:%Y-%m-%d %H:%M}"]
    for unit in dict.fromkeys(item.unit for item in items):
        mine = [item for item in items if item.unit == unit]
        lines += ["", f"{unit}, {mine[0].type}, every joint:"]
        ordered = sorted(mine, key=lambda item: (-item.due, -item.overdue_ratio))
        lines += [f"  {sentence(item)}" for item in ordered]
    return "\n".join([*lines, "", *_below(site, at, items)])


def sentence(item: DueItem) -> str:
    """One joint: its name, whether it is due, and why."""
    word = STATUS[item.status]
    reason = item.reason
    if item.troubles and not item.due:
        reason = "; ".join((reason, *item.troubles))
    return f"{item.joint}: {word}, {reason}."
