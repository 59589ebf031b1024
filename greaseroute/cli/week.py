"""``greaseroute week SITE --out DIR``: the mornings ahead, the grease they use, what to order."""

import argparse
import sys
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from greaseroute.cli.kernels import check_environment, ready_kernels
from greaseroute.cli.on_record import on_first_morning
from greaseroute.cli.options import add_options, whole_number
from greaseroute.cli.output_set import OutputSet, hashes_of
from greaseroute.cli.own_options import OwnOption, add_own_options
from greaseroute.cli.progress import progress_for

if TYPE_CHECKING:
    from greaseroute.forecast.week import Span
    from greaseroute.plan.week import WeekPlan

HELP = "plan the seven mornings ahead and the grease they use"

FILES = ("week.json", "week.html")
STAGES = ("reading", "compiling", "levelling", "round of", "simulating", "drawing")
DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def _from_one(text: str) -> int:
    value = whole_number(text)
    if value < 1:
        raise argparse.ArgumentTypeError("give 1 or more")
    return value


def share(text: str) -> float:
    """A share between 0 and 1."""
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0 <= value < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a share from 0 to below 1, such as 0.2")
    return value


def days_off(text: str) -> tuple[str, ...]:
    """Weekdays by their first three letters, separated by commas."""
    found = tuple(part.strip().lower()[:3] for part in text.split(",") if part.strip())
    for day in found:
        if day not in DAYS:
            raise argparse.ArgumentTypeError(f"{day!r} is no weekday; use {', '.join(DAYS)}")
    return found


def holiday(text: str) -> date:
    """A date, ISO 8601."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a date like 2031-05-01") from None


OPTIONS = (
    OwnOption("--mornings", "mornings ahead (default 7)", "N", _from_one, 7),
    OwnOption("--days-off", "weekdays off, as sat,sun", "DAYS", days_off, ()),
    OwnOption(
        "--holiday", "a day off, as 2031-05-01; may repeat", "DATE", holiday, repeats=True
    ),
    OwnOption(
        "--early", "a service may be this share of its interval early (default 0.2)", "SHARE",
        share, 0.2,
    ),
    OwnOption("--late", "and this share late (default 0.1)", "SHARE", share, 0.1),
    OwnOption(
        "--service-level", "share of cases in which stock lasts the lead time (default 0.95)",
        "SHARE", share, 0.95,
    ),
    OwnOption("--weeks", "weeks simulated (default 2000)", "N", _from_one, 2000),
    OwnOption(
        "--what-if", "as wet=5days, dust=all or UNIT:dust=3days; may repeat", "CASE", repeats=True
    ),
)  # fmt: skip


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The shared options, the calendar, tolerances, stock and what-ifs."""
    add_options(parser, "site", "at", "out", "seed", "format", "cores")
    add_own_options(parser, OPTIONS)


def run(args: argparse.Namespace) -> int:
    """Plan, write, print; 1 where something cannot be done as it should, with why on stderr."""
    check_environment()
    output = OutputSet(args.out, "week", FILES, hashes_of(args.site))
    output.check()
    from greaseroute.cards.week_html import week_html
    from greaseroute.forecast.round_planner import round_planner
    from greaseroute.forecast.week import plan_week

    with progress_for(args, STAGES) as progress:
        progress(f"reading {args.site}")
        span = _span(args)
        ready_kernels(progress)
        week = plan_week(span, plan=round_planner(span.site, seed=args.seed), progress=progress)
        progress("drawing the pages")
        contents = (week.model_dump_json(indent=1) + "\n", week_html(week, span.site))
        files = {n: text.encode() for n, text in zip(FILES, contents, strict=True)}
        output.write(files)
    if args.format == "json":
        print(week.model_dump_json(indent=1))
    else:
        print(week_text(week))
        print(f"Written to {Path(args.out)}: {', '.join(files)}")
    reasons = exit_reasons(week)
    if reasons:
        print(f"exit code 1: {'; '.join(reasons)}", file=sys.stderr)
    return 1 if reasons else 0


def _span(args: argparse.Namespace) -> "Span":
    from dataclasses import replace

    from greaseroute.forecast.week import WeekSettings, span_of
    from greaseroute.forecast.what_if import parse_what_if
    from greaseroute.forecast.windows import Tolerance
    from greaseroute.site.folder import read_site
    from greaseroute.site.work_days import WorkDays, weekdays_of

    read = read_site(args.site)
    off = weekdays_of((*read.work_days.days_off, *args.days_off))
    holidays = tuple(sorted({*read.work_days.holidays, *args.holiday}))
    read = replace(read, work_days=WorkDays(off, holidays))
    site, first = on_first_morning(read, args.site, args.at)
    settings = WeekSettings(
        tolerance=Tolerance(early=args.early, late=args.late),
        service_level=args.service_level,
        weeks=args.weeks,
        seed=args.seed,
        what_ifs=tuple(parse_what_if(text) for text in args.what_if),
    )
    return span_of(site, first, mornings=args.mornings, settings=settings)


def exit_reasons(week: "WeekPlan") -> list[str]:
    """Why the exit code is 1; nothing where it is 0."""
    left = sum(len(morning.left) for morning in week.mornings)
    level = week.levelling
    told = [
        (left, "left out of a morning's round for want of time"),
        (len(level.late), "late for want of room"),
        (len(week.mend_first), "to be mended first: nobody can grease them as things stand"),
        (len(week.cannot_keep), "with an interval that no morning keeps"),
        (len(week.no_gun), "without a gun that fits"),
    ]
    return [f"{n} joint{'s' if n > 1 else ''} {what}" for n, what in told if n]


def week_text(week: "WeekPlan") -> str:
    """The week on a terminal."""
    return "\n".join([*_mornings_text(week), "", *_levelling_text(week), "", *_grease_text(week)])


def _mornings_text(week: "WeekPlan") -> list[str]:
    lines = [f"{week.site}: {len(week.mornings)} mornings from {week.at[:10]}", ""]
    for morning in week.mornings:
        moment = datetime.fromisoformat(morning.at)
        lines.append(
            f"{moment:%a %d %b}  {len(morning.services):4} joints  {morning.units:3} units"
            f"  {morning.fittings:4} fittings"
        )
        lines += [
            f"    {t.name}: {t.minutes:.0f} min ({t.walk_min:.0f} walking), {t.walk_m:.0f} m, "
            f"{t.strokes} strokes, done {t.finish[11:16]}"
            for t in morning.technicians
        ]
        if morning.left:
            lines.append(f"    no time for {len(morning.left)}: asked of the next morning")
    return lines


def _levelling_text(week: "WeekPlan") -> list[str]:
    level = week.levelling
    proved = (
        f", by the same reckoning not below {level.lower_min:.0f} (gap {level.gap_pct:g} %)"
        if level.lower_min
        else ""
    )
    return [
        f"longest morning {level.walked_longest_min:.0f} min of all technicians as walked; "
        f"{level.longest_min:.0f} as reckoned{proved}",
        f"each joint on its due day: {level.due_day_longest_min:.0f} min as reckoned; levelled is "
        f"{level.shorter_pct:g} % shorter, {level.visits} visits instead of {level.due_day_visits}",
        *(f"late for want of room: {name}" for name in level.late),
        *(f"more to do than there is time: {when}" for when in level.overrun),
        *(
            f"mend first: {x.unit} {x.joint}{' ' + x.fitting if x.fitting else ''}: {x.reason}"
            for x in week.mend_first
        ),
        *(
            f"no morning keeps every {x.interval}: {x.unit} {x.joint}, at {100 * x.used:.0f} % by "
            f"the next one; what helps: {x.helps}"
            for x in week.cannot_keep
        ),
    ]


def _grease_text(week: "WeekPlan") -> list[str]:
    from greaseroute.cards.week_html import order_words

    lines = [f"grease, low / middle / high of {week.weeks_simulated} weeks:"]
    lines += [
        f"  {g.grease}: {g.grams.p10:.0f} / {g.grams.p50:.0f} / {g.grams.p90:.0f} g, "
        f"{g.cartridges.p10:.1f} / {g.cartridges.p50:.1f} / {g.cartridges.p90:.1f} cartridges; "
        f"by the rounds {g.planned_g:.0f} g, {g.planned_cartridges} cartridges"
        for g in week.greases
    ]
    lines += ["order:"]
    lines += [
        f"  {line.grease}: {order_words(line)}"
        + (
            ""
            if line.stock is None
            else f" (stock {line.stock:g}, reorder at {line.reorder_level})"
        )
        for line in week.orders
    ]
    if week.what_if:
        then = week.what_if
        lines.append(f"what if {', '.join(then.what)}: {then.services_change:+.0f} services")
        lines += [
            f"  {name}: {grams.p10:.0f} / {grams.p50:.0f} / {grams.p90:.0f} g"
            for name, grams in then.grams.items()
        ]
        lines += [f"  order then: {line.grease}: {order_words(line)}" for line in then.orders]
        lines += [f"  more to do than there is time: {when}" for when in then.overrun]
    return lines
