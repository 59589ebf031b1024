"""The plan as text for the terminal: 80 columns, no colour, everything in words."""

import textwrap
from collections.abc import Iterator, Sequence

from greaseroute.cards.cautions import AID, BEFORE_YOU_START, own_cautions
from greaseroute.plan.round import RoundPlan, TechnicianPlan
from greaseroute.plan.tally import WalkTally, left_by_reason, left_name, tally
from greaseroute.plan.words import certificate, clock, count, day, listed
from greaseroute.units import S_PER_MIN

WIDTH = 80
COLUMNS = 4
NAME_WIDTH = 14
WALK_ROWS = (
    *("", "start", "finish", "walk, m", "walking, min", "work, min", "waiting, min"),
    *("units", "fittings", "strokes"),
)


def summary_text(plan: RoundPlan) -> str:
    """Everything a technician asks before setting off, one section each, ending with a newline."""
    sections = [
        _head(plan),
        _walks(plan),
        _cartridges(plan),
        _left(plan),
        _hands_off(plan),
        _proof(plan),
        _notes(plan),
        _read_first(),
    ]
    return "\n\n".join("\n".join(lines) for lines in sections if lines) + "\n"


def _filled(text: str, *, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )


def _table(rows: Sequence[Sequence[str]], *, words: int) -> list[str]:
    """Columns two spaces apart; the first ``words`` columns to the left, figures to the right."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = [
            cell.ljust(widths[k]) if k < words else cell.rjust(widths[k])
            for k, cell in enumerate(row)
        ]
        lines.append(("  " + "  ".join(cells)).rstrip())
    return lines


def _head(plan: RoundPlan) -> list[str]:
    done = sum(tally(technician).fittings for technician in plan.technicians)
    what = f"Rest of the round from {clock(plan.at)}" if plan.rest_of_round_from else "Round"
    lines = _filled(
        f"{what} for {plan.site}, {day(plan.at)}; shift starts {clock(plan.shift_start)}"
    )
    if not plan.complete:
        lines += _filled("Stopped before its end: this is the best plan found until then.")
    due = f"{count(plan.due_joints, 'joint')} with {count(plan.due_fittings, 'fitting')}"
    left = f" Left out: {len(plan.left)}, see below." if plan.left else ""
    lines += _filled(f"Due: {due}. This plan pumps {count(done, 'fitting')}.{left}")
    return lines


def _walks(plan: RoundPlan) -> list[str]:
    """One column a technician, a few technicians to a block so that it fits the width."""
    lines = []
    for block in range(0, len(plan.technicians), COLUMNS):
        walks = plan.technicians[block : block + COLUMNS]
        columns = [WALK_ROWS, *(_walk_column(walk, tally(walk)) for walk in walks)]
        rows = list(zip(*columns, strict=True))
        lines += _table(rows, words=1)
    for technician in plan.technicians:
        if technician.start_place:
            ends = f"{technician.name}: from {technician.start_place} to "
            lines += _filled(ends + technician.finish_place, first="  ", rest="    ")
    return ["The walk", *lines]


def _walk_column(technician: TechnicianPlan, work: WalkTally) -> tuple[str, ...]:
    spans = (technician.walk_s, technician.work_s, technician.wait_s)
    return (
        technician.name[:NAME_WIDTH],
        clock(technician.start),
        clock(technician.finish),
        f"{technician.walk_m:.0f}",
        *(f"{span_s / S_PER_MIN:.1f}" for span_s in spans),
        *map(str, (work.units, work.fittings, work.strokes)),
    )


def _cartridges(plan: RoundPlan) -> list[str]:
    if not plan.cartridges:
        return []
    rows = [["grease", "carry", "go in", "reserve", "strokes", "grams"]]
    rows += [
        [grease, str(c.carry), str(c.used), str(c.reserve), str(c.strokes), f"{c.grams:.0f}"]
        for grease, c in plan.cartridges.items()
    ]
    return ["Cartridges to carry", *_table(rows, words=1), *_each_bag(plan)]


def _each_bag(plan: RoundPlan) -> Iterator[str]:
    """Who carries what, where more than one technician walks."""
    if len(plan.technicians) < 2:
        return
    for technician in plan.technicians:
        bag = listed(f"{c.carry} of {grease}" for grease, c in technician.cartridges.items())
        yield from _filled(f"{technician.name} carries {bag or 'none'}", first="  ", rest="    ")


def _left(plan: RoundPlan) -> list[str]:
    if not plan.left:
        return ["Left out: nothing that is due."]
    lines = ["Left out, and why"]
    for (reason, helps), units in left_by_reason(plan).items():
        lines += _filled(f"- {reason}", first="  ", rest="    ")
        if helps:
            lines += _filled(f"what would help: {helps}", first="    ", rest="    ")
        for unit, items in units.items():
            names = ", ".join(left_name(item) for item in items)
            lines += _filled(f"{unit}: {names}", first="      ", rest="        ")
    return lines


def _hands_off(plan: RoundPlan) -> list[str]:
    """What a technician must not pump, or only looks at; the card lists each place."""
    lines = []
    if plan.never_pump:
        units = len({item.unit for item in plan.never_pump})
        text = f"Never pump: {count(len(plan.never_pump), 'place')} on {count(units, 'unit')}"
        lines += _filled(f"{text} (track tension and the like; the card marks each).")
    if plan.inspect:
        units = len({item.unit for item in plan.inspect})
        text = f"Look only, fed by a central system: {count(len(plan.inspect), 'joint')}"
        lines += _filled(f"{text} on {count(units, 'unit')}.")
    return lines


def _proof(plan: RoundPlan) -> list[str]:
    return ["How good is this walk?", *_filled(certificate(plan.bound), first="  ", rest="  ")]


def _notes(plan: RoundPlan) -> list[str]:
    texts = [*plan.notes, *(f"Caution: {caution}" for caution in own_cautions(plan.cautions))]
    return [line for text in texts for line in _filled(text, first="- ", rest="  ")]


def _read_first() -> list[str]:
    """The cautions stand on the card; the terminal sends people there."""
    text = f"Read the {len(BEFORE_YOU_START)} cautions on the card before the first fitting. {AID}"
    return _filled(text)
