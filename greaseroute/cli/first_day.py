"""``greaseroute first-day SITE --out DIR``: a new technician's first day, with its pages."""

import argparse
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
    from greaseroute.texts.language import Language
    from greaseroute.training.choice import DaySettings

HELP = "plan a new technician's first day"

FILES = ("first_day.json", "first_day.html", "first_day.pdf")
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
    with progress_for(args, STAGES) as progress:
        first, site = _plan(args, progress)
        progress("drawing the pages")
        files = _files(first, site)
        output.write(files)
    if args.format == "json":
        print(first.model_dump_json(indent=1))
    else:
        print(first_day_text(first, site.say))
        print(site.say("summary.written", folder=str(args.out), files=", ".join(files)))
    return 1 if first.left else 0


def _files(first: "FirstDay", site: "Site") -> dict[str, bytes]:
    """The files of the day; the one on paper where its maker is installed, and last: once it has
    worked, this process makes no copies of itself."""
    from greaseroute.cards.first_day_html import first_day_html, learner_walks
    from greaseroute.cards.first_day_pdf import first_day_pdf
    from greaseroute.cards.typesetter import pdf_ready

    walks = learner_walks(first, site)
    made = {
        "first_day.json": (first.model_dump_json(indent=1) + "\n").encode(),
        "first_day.html": first_day_html(first, site, walks=walks).encode(),
    }
    if not pdf_ready():
        return made
    return {**made, "first_day.pdf": first_day_pdf(first, site, walks=walks)}


def _plan(args: argparse.Namespace, progress: Progress) -> "tuple[FirstDay, Site]":
    from greaseroute.site.folder import read_site
    from greaseroute.training.day import pairing
    from greaseroute.training.first_day import plan_first_day

    read = in_language(read_site(args.site, now=args.at), args.language)
    site, at = on_record(read, args.site, args.at)
    pair = pairing(site, learner=args.learner, mentor=args.mentor)
    settings = _settings(args)
    ready_kernels(progress)
    return plan_first_day(site, at, pair=pair, settings=settings, progress=progress), site


def _settings(args: argparse.Namespace) -> "DaySettings":
    from greaseroute.plan.learning import LearningCurve
    from greaseroute.training.choice import DaySettings

    curve = LearningCurve(rate=args.learning_rate, first=args.first_time, form=args.learning_form)
    return DaySettings(curve=curve, show_s=args.show_s, window_min=args.window_min, seed=args.seed)


def first_day_text(first: "FirstDay", say: "Language") -> str:
    """The day on a terminal."""
    from greaseroute.cards.first_day_html import not_met_rows

    bag = [say("summary.of_grease", n=n, grease=grease) for grease, n in first.carry.items()]
    carry = ", ".join(bag) or say("first_day.none")
    names = {"site": first.site, "learner": first.learner, "mentor": say.name(first.mentor)}
    ends = {"start": first.start_place, "finish": first.finish_place, "to": say.clock(first.finish)}
    lines = [
        say("first_day.terminal_head", **names),
        say("first_day.terminal_ends", **ends, **{"from": say.clock(first.at)}),
        say("first_day.terminal_carry", guns=", ".join(first.guns), cartridges=carry),
        say("first_day.terminal_met", covered=first.choice.covered, wanted=first.choice.wanted,
            learner_min=first.learner_min, window_min=first.window_min,
            standard_min=first.standard_min),
        "",
        *_stop_lines(first, say),
    ]  # fmt: skip
    for later in first.later:
        joints = ", ".join(f"{x.unit} {say.name(x.joint, x.family)}" for x in later.lessons)
        told = {"day": later.day, "minutes": later.minutes, "joints": joints}
        lines.append(say("first_day.terminal_day", **told))
    for x in first.left:
        told = {"unit": x.unit, "joint": say.name(x.joint), "reason": say.sentence(x.reason)}
        lines.append(say("first_day.terminal_left", **told))
    for family, kinds, why in not_met_rows(first):
        told = {"family": say.name(family), "kinds": ", ".join(map(say.name, kinds))}
        lines.append(say("first_day.terminal_not_met", **told, why=say.sentence(why)))
    return "\n".join(lines)


def _stop_lines(first: "FirstDay", say: "Language") -> list[str]:
    """A line for each machine: when, how far, what is learnt there."""
    lines = []
    for number, stop in enumerate(first.stops, start=1):
        lessons = ", ".join(
            f"{say.name(each.joint, stop.family)} ({say.name(each.kind)})" for each in stop.lessons
        )
        told = {"number": number, "arrive": say.clock(stop.arrive), "unit": stop.unit}
        told |= {"family": say.name(stop.family), "walk_m": stop.walk_m, "lessons": lessons}
        lines.append(say("first_day.terminal_stop", **told))
    return lines
