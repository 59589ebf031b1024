"""The plan as text for the terminal: 80 columns, no colour, everything in words."""

import textwrap
from collections.abc import Iterator, Sequence

from greaseroute.cards.cautions import aid, own_cautions
from greaseroute.cards.emergency import emergency
from greaseroute.cards.leaving import leaving
from greaseroute.catalogue.posture import position
from greaseroute.plan.round import GENERAL_CAUTIONS, RoundPlan, TechnicianPlan
from greaseroute.plan.tally import WalkTally, left_by_reason, left_name, tally
from greaseroute.plan.words import certificate
from greaseroute.texts.language import ENGLISH, Language
from greaseroute.units import S_PER_MIN

WIDTH = 80
COLUMNS = 4
NAME_WIDTH = 14
WALK_ROWS = (
    *("start", "finish", "walk_m", "walk_min", "work_min", "wait_min"),
    *("units", "fittings", "strokes"),
)


def summary_text(plan: RoundPlan, say: Language = ENGLISH) -> str:
    """Everything a technician asks before setting off, one section each, ending with a newline."""
    sections = [
        _filled(emergency(plan, say)),
        _head(plan, say),
        _people(plan, say),
        _filled(leaving(plan, say)),
        _walks(plan, say),
        _cartridges(plan, say),
        _left(plan, say),
        _hands_off(plan, say),
        _proof(plan, say),
        _notes(plan, say),
        _filled(say("summary.read_first", n=len(GENERAL_CAUTIONS), aid=aid(say))),
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


def _head(plan: RoundPlan, say: Language) -> list[str]:
    told = {"site": plan.site, "day": say.day(plan.at), "clock": say.clock(plan.shift_start)}
    if plan.rest_of_round_from:
        lines = _filled(say("summary.head_rest", **told, **{"from": say.clock(plan.at)}))
    else:
        lines = _filled(say("summary.head", **told))
    if not plan.complete:
        lines += _filled(say("summary.cut_short"))
    due = say(
        "summary.due",
        joints=say.count(plan.due_joints, "joint"),
        fittings=say.count(plan.due_fittings, "fitting"),
        done=say.count(sum(tally(each).fittings for each in plan.technicians), "fitting"),
    )
    return lines + _filled(due + (say("summary.left_below", n=len(plan.left)) if plan.left else ""))


def _people(plan: RoundPlan, say: Language) -> list[str]:
    """Who has to come to which machine, when and what for."""
    if not plan.people:
        return _filled(say("summary.people_none"))
    lines = []
    for call in plan.people:
        what = call.joint or position(call.posture)
        told = {"begin": say.clock(call.begin), "end": say.clock(call.end)}
        text = say("summary.person_call", person=call.person, unit=call.unit,
                   what=say.sentence(what), **told)  # fmt: skip
        lines += _filled(text, first="  ", rest="    ")
    return [say("summary.people"), *lines]


def _walks(plan: RoundPlan, say: Language) -> list[str]:
    """One column a technician, a few technicians to a block so that it fits the width."""
    lines = []
    heads = ("", *(say(f"summary.{row}") for row in WALK_ROWS))
    for block in range(0, len(plan.technicians), COLUMNS):
        walks = plan.technicians[block : block + COLUMNS]
        columns = [heads, *(_walk_column(walk, tally(walk), say) for walk in walks)]
        rows = list(zip(*columns, strict=True))
        lines += _table(rows, words=1)
    for walk in plan.technicians:
        if walk.start_place:
            ends = {"start": walk.start_place, "finish": walk.finish_place}
            text = say("summary.from_to", name=walk.name, **ends)
            lines += _filled(text, first="  ", rest="    ")
    return [say("summary.walk"), *lines]


def _walk_column(technician: TechnicianPlan, work: WalkTally, say: Language) -> tuple[str, ...]:
    spans = (technician.walk_s, technician.work_s, technician.wait_s)
    return (
        technician.name[:NAME_WIDTH],
        say.clock(technician.start),
        say.clock(technician.finish),
        say.number(technician.walk_m),
        *(say.number(span_s / S_PER_MIN, 1) for span_s in spans),
        *map(str, (work.units, work.fittings, work.strokes)),
    )


def _cartridges(plan: RoundPlan, say: Language) -> list[str]:
    if not plan.cartridges:
        return []
    heads = ("grease", "carry", "fit", "reserve", "strokes", "grams")
    rows = [[say(f"summary.{head}") for head in heads]]
    rows += [
        [grease, str(c.carry), str(c.used), str(c.reserve), str(c.strokes), say.number(c.grams)]
        for grease, c in plan.cartridges.items()
    ]
    return [say("summary.cartridges"), *_table(rows, words=1), *_each_bag(plan, say)]


def _each_bag(plan: RoundPlan, say: Language) -> Iterator[str]:
    """Who carries what, where more than one technician walks."""
    if len(plan.technicians) < 2:
        return
    for technician in plan.technicians:
        bag = say.listed(
            say("summary.of_grease", n=c.carry, grease=grease)
            for grease, c in technician.cartridges.items()
        )
        text = say("summary.carries", name=technician.name, bag=bag or say("summary.none"))
        yield from _filled(text, first="  ", rest="    ")


def _left(plan: RoundPlan, say: Language) -> list[str]:
    if not plan.left:
        return [say("summary.left_none")]
    lines = [say("summary.left")]
    for (reason, helps), units in left_by_reason(plan).items():
        lines += _filled(f"- {say.sentence(reason)}", first="  ", rest="    ")
        if helps:
            text = say("summary.would_help", helps=say.sentence(helps))
            lines += _filled(text, first="    ", rest="    ")
        for unit, items in units.items():
            names = ", ".join(left_name(item, say) for item in items)
            lines += _filled(f"{unit}: {names}", first="      ", rest="        ")
    return lines


def _hands_off(plan: RoundPlan, say: Language) -> list[str]:
    """What a technician must not pump, or only checks; the card lists each place."""
    lines = []
    if plan.never_pump:
        units = len({item.unit for item in plan.never_pump})
        places = say.count(len(plan.never_pump), "place")
        lines += _filled(say("summary.never_pump", places=places, units=say.count(units, "unit")))
    if plan.inspect:
        units = len({item.unit for item in plan.inspect})
        joints = say.count(len(plan.inspect), "joint")
        lines += _filled(say("summary.check_only", joints=joints, units=say.count(units, "unit")))
    return lines


def _proof(plan: RoundPlan, say: Language) -> list[str]:
    return [say("summary.how_good"), *_filled(certificate(plan.bound, say), first="  ", rest="  ")]


def _notes(plan: RoundPlan, say: Language) -> list[str]:
    own = own_cautions(plan.cautions, say)
    texts = [
        *(say.sentence(note) for note in plan.notes),
        *(say("summary.caution", caution=caution) for caution in own),
    ]
    return [line for text in texts for line in _filled(text, first="- ", rest="  ")]
