"""The due list on a terminal: a line for each machine and class, or a sentence for each joint."""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from greaseroute.intervals.owed import ASSUMED_DAYS, NEVER_RECORDED
from greaseroute.intervals.worklist import DueItem, carried_note
from greaseroute.site.model import Site
from greaseroute.texts.language import Language

HEADS = ("unit", "class", "fittings", "used", "how_far", "joints")
MOST_NAMED = 3
"""Joints named on the line of a class; more are counted."""
MOMENT_H = 0.05  # hours over that are as good as none


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

    def over(self, say: Language) -> str:
        """How far over, in words: of the joint that is furthest."""
        worst = max(self.items, key=lambda item: item.overdue_ratio)
        if all(item.reason.startswith(NEVER_RECORDED) for item in self.items):
            return say.sentence(NEVER_RECORDED)
        if worst.overdue_h >= 1:
            return say("due.hours_over", hours=worst.overdue_h)
        if worst.overdue_h < MOMENT_H and worst.overdue_days > 0:
            return say("due.days_over", days=worst.overdue_days)
        soon = worst.overdue_h < MOMENT_H and all(item.status == "ahead" for item in self.items)
        return say("due.status_ahead" if soon else "due.now")

    def joints(self, say: Language, family: str = "") -> str:
        """The joints by name, or how many."""
        names = [say.name(item.joint, family) for item in self.items]
        return ", ".join(names) if len(names) <= MOST_NAMED else say.count(len(names), "joint")


def class_lines(items: Iterable[DueItem]) -> list[ClassLine]:
    """Every machine and class of which something is due, the furthest over first."""
    groups: dict[tuple[str, str], list[DueItem]] = {}
    for item in items:
        if item.due:
            groups.setdefault((item.unit, item.interval), []).append(item)
    lines = [ClassLine(unit, interval, tuple(found)) for (unit, interval), found in groups.items()]
    return sorted(lines, key=lambda line: -line.ratio)


def short_class(label: str, say: Language) -> str:
    """An interval class for a table: ``25 h (50 h, shortened for wet)`` as ``25 h (wet)``."""
    own, _, severity = re.sub(r" \(.*, shortened for (.*)\)$", r" (\1)", label).partition(" (")
    return say.sentence(own) + (f" ({severity}" if severity else "")


def due_text(site: Site, at: datetime, items: Sequence[DueItem]) -> str:
    """The list of the whole site, or of some units of it."""
    say, families = site.say, _families(site)
    lines = [say("due.head", site=site.name, moment=f"{at:%Y-%m-%d %H:%M}"), ""]
    table = [
        (
            line.unit,
            short_class(line.interval, say),
            str(sum(item.fittings for item in line.items)),
            f"{100 * line.ratio:.0f} %",
            line.over(say),
            line.joints(say, families.get(line.unit, "")),
        )
        for line in class_lines(items)
    ]
    if table:
        heads = [say(f"due.{head}") for head in HEADS]
        lines += [*_table(heads, table), ""]
    return "\n".join([*lines, *_below(site, at, items)])


def _families(site: Site) -> dict[str, str]:
    """The machine family of each unit: some have a word of their own for a part."""
    return {unit.unit: site.machine(unit).family for unit in site.units}


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
    say = site.say
    yield total_line(items, say)
    yield from _assumed(items, say)
    units = {item.unit for item in items}
    for note in site.past.meters:
        if note.unit in units:
            yield say("due.meter", unit=note.unit, text=say.sentence(note.text))
    for trouble in site.past.troubles:
        if trouble.unit in units:
            names = [say.name(name) for name in (trouble.joint, trouble.fitting) if name]
            where = ", ".join([trouble.unit, *names])
            yield say("due.trouble", where=where, text=say.sentence(trouble.text))
    for away in site.past.absences:
        until = say("due.until_unknown")
        if away.until:
            until = say("due.until", moment=f"{away.until:%Y-%m-%d %H:%M}")
        yield say("due.away", unit=away.unit, since=f"{away.since:%Y-%m-%d}", until=until)
    if note_text := carried_note(site, at):
        yield say.sentence(note_text)


def total_line(items: Sequence[DueItem], say: Language) -> str:
    """How much is due, in one line."""
    due = [item for item in items if item.due]
    return say(
        "due.total",
        joints=say.count(len(due), "joint"),
        fittings=say.count(sum(item.fittings for item in due), "fitting"),
        units=say.count(len({item.unit for item in due}), "unit"),
        soon=sum(item.status == "ahead" for item in due),
        check=say.count(sum(item.status == "look only" for item in items), "joint"),
    )


def _assumed(items: Sequence[DueItem], say: Language) -> Iterator[str]:
    """What is assumed where nothing was ever recorded, and how to end it."""
    never = [item for item in items if item.due and item.reason.startswith(NEVER_RECORDED)]
    if not never:
        return
    first = never[0]
    yield say(
        "due.assumed_one" if len(never) == 1 else "due.assumed",
        joints=say.count(len(never), "joint"),
        units=say.count(len({item.unit for item in never}), "unit"),
        days=ASSUMED_DAYS,
        command=f"greaseroute record SITE --event greased unit={first.unit} "
        f'"joint={first.interval}" at=YYYY-MM-DD',
    )


def joint_sentences(site: Site, at: datetime, items: Sequence[DueItem]) -> str:
    """Each joint of some units in one sentence, what is due first."""
    say, families = site.say, _families(site)
    lines = [say("due.head_joints", site=site.name, moment=f"{at:%Y-%m-%d %H:%M}")]
    for unit in dict.fromkeys(item.unit for item in items):
        mine = [item for item in items if item.unit == unit]
        lines += ["", say("due.unit_head", unit=unit, type=mine[0].type)]
        ordered = sorted(mine, key=lambda item: (-item.due, -item.overdue_ratio))
        lines += [f"  {sentence(item, say, families.get(unit, ''))}" for item in ordered]
    return "\n".join([*lines, "", *_below(site, at, items)])


def sentence(item: DueItem, say: Language, family: str = "") -> str:
    """One joint: its name, whether it is due, and why."""
    reasons = [item.reason]
    if item.troubles and not item.due:
        reasons += item.troubles
    return say(
        "due.sentence",
        joint=say.name(item.joint, family),
        status=say(f"due.status_{item.status.replace(' ', '_')}"),
        reason="; ".join(say.sentence(reason, family) for reason in reasons),
    )
