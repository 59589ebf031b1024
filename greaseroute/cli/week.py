"""``greaseroute week SITE --out DIR``: the mornings ahead, the grease they use, what to order."""

import argparse
import sys
from datetime import date
from typing import TYPE_CHECKING

from greaseroute.cli.kernels import check_environment, ready_kernels
from greaseroute.cli.on_record import on_first_morning
from greaseroute.cli.options import add_options, in_language, whole_number
from greaseroute.cli.output_set import OutputSet, hashes_of
from greaseroute.cli.own_options import OwnOption, add_own_options
from greaseroute.cli.progress import progress_for

if TYPE_CHECKING:
    from greaseroute.forecast.week import Span
    from greaseroute.plan.round import LeftOut
    from greaseroute.plan.week import LevellingReport, OrderLine, Quantiles, WeekPlan
    from greaseroute.site.model import Site
    from greaseroute.texts.language import Language

HELP = "plan the seven mornings ahead and the grease they use"

FILES = ("week.json", "week.html", "week.pdf")
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
    add_options(parser, "site", "at", "out", "seed", "format", "cores", "language")
    add_own_options(parser, OPTIONS)


def run(args: argparse.Namespace) -> int:
    """Plan, write, print; 1 where something cannot be done as it should, with why on stderr."""
    check_environment()
    output = OutputSet(args.out, "week", FILES, hashes_of(args.site))
    output.check()
    from greaseroute.forecast.round_planner import round_planner
    from greaseroute.forecast.week import plan_week

    with progress_for(args, STAGES) as progress:
        progress(f"reading {args.site}")
        span = _span(args)
        ready_kernels(progress)
        week = plan_week(span, plan=round_planner(span.site, seed=args.seed), progress=progress)
        progress("drawing the pages")
        files = _files(week, span.site)
        output.write(files)
    if args.format == "json":
        print(week.model_dump_json(indent=1))
    else:
        say = span.site.say
        print(week_text(week, say))
        print(say("summary.written", folder=str(args.out), files=", ".join(files)))
    reasons = exit_reasons(week, span.site.say)
    if reasons:
        print(span.site.say("week.exit", reasons="; ".join(reasons)), file=sys.stderr)
    return 1 if reasons else 0


def _files(week: "WeekPlan", site: "Site") -> dict[str, bytes]:
    """The files of the week; the one on paper where its maker is installed, and last: once it has
    worked, this process makes no copies of itself."""
    from greaseroute.cards.typesetter import pdf_ready
    from greaseroute.cards.week_html import week_html
    from greaseroute.cards.week_pdf import week_pdf

    made = {
        "week.json": (week.model_dump_json(indent=1) + "\n").encode(),
        "week.html": week_html(week, site).encode(),
    }
    return {**made, "week.pdf": week_pdf(week, site)} if pdf_ready() else made


def _span(args: argparse.Namespace) -> "Span":
    from dataclasses import replace

    from greaseroute.forecast.round_planner import trial_rounds
    from greaseroute.forecast.week import WeekSettings, span_of
    from greaseroute.forecast.what_if import parse_what_if
    from greaseroute.forecast.windows import Tolerance
    from greaseroute.site.folder import read_site
    from greaseroute.site.work_days import WorkDays, weekdays_of

    read = in_language(read_site(args.site, now=args.at), args.language)
    off = weekdays_of((*read.work_days.days_off, *args.days_off))
    holidays = tuple(sorted({*read.work_days.holidays, *args.holiday}))
    read = replace(read, work_days=WorkDays(off, holidays))
    site, first = on_first_morning(read, args.site, args.at)
    settings = WeekSettings(
        tolerance=Tolerance(early=args.early, late=args.late),
        service_level=args.service_level,
        weeks=args.weeks,
        seed=args.seed,
        trial_rounds=trial_rounds(site),
        what_ifs=tuple(parse_what_if(text) for text in args.what_if),
    )
    return span_of(site, first, mornings=args.mornings, settings=settings)


def exit_reasons(week: "WeekPlan", say: "Language") -> list[str]:
    """Why the exit code is 1; nothing where it is 0."""
    left = sum(len(morning.left) for morning in week.mornings)
    told = {
        "exit_left": left,
        "exit_late": len(week.levelling.late),
        "exit_mend": len(week.mend_first),
        "exit_keep": len(week.cannot_keep),
        "exit_gun": len(week.no_gun),
    }
    return [say(f"week.{key}", joints=say.count(n, "joint")) for key, n in told.items() if n]


def week_text(week: "WeekPlan", say: "Language") -> str:
    """The week on a terminal."""
    parts = (_mornings_text(week, say), _levelling_text(week, say), _grease_text(week, say))
    return "\n\n".join("\n".join(lines) for lines in parts)


def _mornings_text(week: "WeekPlan", say: "Language") -> list[str]:
    mornings = say.count(len(week.mornings), "morning")
    lines = [say("week.terminal_head", site=week.site, mornings=mornings, day=week.at[:10]), ""]
    for morning in week.mornings:
        figures = {"joints": len(morning.services), "units": morning.units}
        lines.append(
            say("week.terminal_morning", day=say.short_day(morning.at), fittings=morning.fittings,
                **figures)
        )  # fmt: skip
        lines += [
            "    "
            + say("week.terminal_technician", name=t.name, minutes=t.minutes, walk_min=t.walk_min,
                  walk_m=t.walk_m, strokes=say.count(t.strokes, "stroke"),
                  finish=say.clock(t.finish))
            for t in morning.technicians
        ]  # fmt: skip
        if morning.left:
            lines.append("    " + say("week.terminal_left", n=len(morning.left)))
    return lines


def _levelling_text(week: "WeekPlan", say: "Language") -> list[str]:
    level = week.levelling
    return [
        say("week.terminal_longest", walked_min=level.walked_longest_min,
            longest_min=level.longest_min, proved=_proved(level, say)),
        say("week.terminal_due_day", due_day_min=level.due_day_longest_min,
            shorter_pct=level.shorter_pct, visits=level.visits, due_visits=level.due_day_visits),
        *(say("week.terminal_late", name=name) for name in level.late),
        *(say("week.terminal_overrun", when=when) for when in level.overrun),
        *(say("week.mend_first", unit=x.unit, joint=_joint_text(x, say),
              reason=say.sentence(x.reason)) for x in week.mend_first),
        *(say("week.cannot_keep", interval=say.sentence(x.interval), unit=x.unit,
              joint=say.name(x.joint), percent=100 * x.used, helps=say.sentence(x.helps))
          for x in week.cannot_keep),
    ]  # fmt: skip


def _proved(level: "LevellingReport", say: "Language") -> str:
    if not level.lower_min:
        return ""
    return say("week.terminal_proved", lower_min=level.lower_min, gap_pct=level.gap_pct)


def _joint_text(left: "LeftOut", say: "Language") -> str:
    joint = say.name(left.joint)
    return f"{joint} {say.name(left.fitting)}" if left.fitting else joint


def _grease_text(week: "WeekPlan", say: "Language") -> list[str]:
    lines = [say("week.terminal_grease", weeks=week.weeks_simulated)]
    lines += [
        f"  {g.grease}: {_spread(g.grams, 'grams', say)}, "
        + _spread(g.cartridges, "cartridges", say)
        + say(
            "week.terminal_planned",
            grams=g.planned_g,
            cartridges=say.count(g.planned_cartridges, "cartridge"),
        )
        for g in week.greases
    ]
    lines += [say("week.terminal_order"), *(f"  {_order_text(x, say)}" for x in week.orders)]
    if week.what_if:
        then = week.what_if
        what = ", ".join(then.what)
        lines.append(say("week.terminal_what_if", what=what, change=then.services_change))
        lines += [f"  {name}: {_spread(grams, 'grams', say)}" for name, grams in then.grams.items()]
        lines += [
            "  " + say("week.terminal_order_then", order=_order_text(x, say)) for x in then.orders
        ]
        lines += ["  " + say("week.terminal_overrun", when=when) for when in then.overrun]
    return lines


def _spread(amount: "Quantiles", unit: str, say: "Language") -> str:
    return say(f"week.terminal_{unit}", low=amount.p10, middle=amount.p50, high=amount.p90)


def _order_text(line: "OrderLine", say: "Language") -> str:
    from greaseroute.cards.week_html import order_words

    text = f"{line.grease}: {order_words(line, say)}"
    if line.stock is None:
        return text
    return f"{text} {say('week.terminal_stock', stock=line.stock, level=line.reorder_level)}"
