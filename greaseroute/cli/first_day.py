"""``greaseroute first-day SITE --out DIR``: a new technician's first day, with its pages."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from greaseroute.cli.kernels import check_environment, ready_kernels
from greaseroute.cli.on_record import on_record
from greaseroute.cli.options import add_options, in_language, positive_seconds
from greaseroute.cli.output_set import OutputSet, hashes_of
from greaseroute.cli.own_options import OwnOption, add_own_options
from greaseroute.cli.progress import Progress, progress_for

if TYPE_CHECKING:
    from greaseroute.plan.first_day import FirstDay
    from greaseroute.site.model import Site
    from greaseroute.training.choice import DaySettings

HELP = "plan a new technician's first day"

FILES = ("first_day.json", "first_day.html")
STAGES = ("reading", "compiling", "choosing", "walk", "days two", "drawing")


def rate(text: str) -> float:
    """A learning rate above 0, up to 1."""
    value = _number(text)
    if not 0 < value <= 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a share above 0 and up to 1")
    return value


def factor(text: str) -> float:
    """A factor from 1 up."""
    value = _number(text)
    if not 1 <= value < 100:
        raise argparse.ArgumentTypeError(f"{text!r} is not a factor from 1 up")
    return value


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return -1.0


def positive_minutes(text: str) -> float:
    """Minutes above zero, from ``--window-min``."""
    value = _number(text)
    if not 0 < value < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of minutes above 0")
    return value


OPTIONS = (
    OwnOption("--learner", "who learns (default: see site.toml)", "NAME"),
    OwnOption("--mentor", "who shows (default: another technician)", "NAME"),
    OwnOption(
        "--window-min", "minutes there are, at most up to the start of the shift (the default)",
        "MIN", positive_minutes,
    ),
    OwnOption(
        "--learning-rate",
        "time when the number of times doubles, as a share of what it was (default 0.85)",
        "SHARE", rate, 0.85,
    ),
    OwnOption(
        "--first-time", "standard times that the first time takes (default 2.5)", "FACTOR",
        factor, 2.5,
    ),
    OwnOption(
        "--learning-form",
        "which time the rate speaks of: the single one or the average (default unit)",
        default="unit", choices=("unit", "cumulative average"),
    ),
    OwnOption(
        "--show-s", "seconds in which the mentor shows a kind of joint (default 120)", "S",
        positive_seconds, 120.0,
    ),
)  # fmt: skip


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The shared options, who learns from whom, and the learner's pace."""
    add_options(parser, "site", "at", "out", "seed", "format", "cores", "language")
    add_own_options(parser, OPTIONS)


def run(args: argparse.Namespace) -> int:
    """Plan, write, print; 1 where something chosen could not be walked to."""
    check_environment()
    output = OutputSet(args.out, "first-day", FILES, hashes_of(args.site))
    output.check()
    from greaseroute.cards.first_day_html import first_day_html

    with progress_for(args, STAGES) as progress:
        first, site = _plan(args, progress)
        progress("drawing the pages")
        contents = (first.model_dump_json(indent=1) + "\n", first_day_html(first, site))
        output.write({n: text.encode() for n, text in zip(FILES, contents, strict=True)})
    if args.format == "json":
        print(first.model_dump_json(indent=1))
    else:
        print(first_day_text(first))
        print(f"Written to {Path(args.out)}: first_day.json, first_day.html")
    return 1 if first.left else 0


def _plan(args: argparse.Namespace, progress: Progress) -> "tuple[FirstDay, Site]":
    from greaseroute.site.folder import read_site
    from greaseroute.training.day import pairing
    from greaseroute.training.first_day import plan_first_day

    site, at = on_record(in_language(read_site(args.site), args.language), args.site, args.at)
    pair = pairing(site, learner=args.learner, mentor=args.mentor)
    settings = _settings(args)
    ready_kernels(progress)
    return plan_first_day(site, at, pair=pair, settings=settings, progress=progress), site


def _settings(args: argparse.Namespace) -> "DaySettings":
    from greaseroute.plan.learning import LearningCurve
    from greaseroute.training.choice import DaySettings

    curve = LearningCurve(rate=args.learning_rate, first=args.first_time, form=args.learning_form)
    return DaySettings(curve=curve, show_s=args.show_s, window_min=args.window_min, seed=args.seed)


def first_day_text(first: "FirstDay") -> str:
    """The day on a terminal."""
    from greaseroute.cards.first_day_html import not_met_rows

    carry = ", ".join(f"{n} of {grease}" for grease, n in first.carry.items()) or "none"
    lines = [
        f"{first.site}: first day of {first.learner}, with {first.mentor}",
        f"start at {first.start_place} at {first.at[11:16]}, finish at {first.finish_place} "
        f"at {first.finish[11:16]}",
        f"carry: {', '.join(first.guns)}; cartridges: {carry}",
        f"{first.choice.covered} of {first.choice.wanted} pairs of family and kind of joint met; "
        f"{first.learner_min:.0f} of {first.window_min:.0f} min at a learner's pace, "
        f"{first.standard_min:.0f} min when known",
        f"{first.mentor} walks along for {first.mentor_min:.0f} min and shows for "
        f"{first.mentor_shows_min:.0f} of them",
        *(f"note: {note}" for note in first.notes if note.startswith("the shift")),
        "",
    ]
    for number, stop in enumerate(first.stops, start=1):
        lessons = ", ".join(f"{each.joint} ({each.kind})" for each in stop.lessons)
        lines.append(
            f"{number:2}  {stop.arrive[11:16]}  {stop.unit}  {stop.family}, "
            f"{stop.walk_m:.0f} m: {lessons}"
            + (f"; it leaves at {stop.released[11:16]}" if stop.released else "")
        )
    lines += [
        f"once more, if there is time: {each.unit} {each.joint} ({each.kind})"
        for each in first.repeat
    ]
    for later in first.later:
        joints = ", ".join(f"{each.unit} {each.joint}" for each in later.lessons)
        lines.append(f"day {later.day}, about {later.minutes:.0f} min: {joints}")
    lines += [f"left out: {x.unit} {x.joint}: {x.reason}" for x in first.left]
    lines += [
        f"not met: {family}, {', '.join(kinds)}: {why}"
        for family, kinds, why in not_met_rows(first)
    ]
    return "\n".join(lines)
