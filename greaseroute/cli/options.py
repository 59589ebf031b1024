"""The options that mean the same at every verb, and what stands behind them."""

import argparse
import dataclasses
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from greaseroute.site.model import Site

MOST_DIGITS = 18  # a whole number of 64 bits


def out_folder(text: str) -> Path:
    """A folder from ``--out``."""
    if not text.strip():
        raise argparse.ArgumentTypeError("give the name of a folder")
    return Path(text)


def at_moment(text: str) -> datetime:
    """A moment from ``--at``: ISO 8601, with or without an offset."""
    from greaseroute.site.moment import date_and_time  # heavy: kept out of --help

    try:
        return date_and_time(text)
    except ValueError as error:
        message = f"{text[:30]!r} is not {error}"
        raise argparse.ArgumentTypeError(message) from None


def whole_number(text: str) -> int:
    """A whole number from 0 up, from ``--seed``."""
    if not (text.isascii() and text.isdigit()) or len(text) > MOST_DIGITS:
        raise argparse.ArgumentTypeError(f"{text[:30]!r} is not a whole number from 0 up")
    return int(text)


def core_count(text: str) -> int:
    """A count of cores from 1 up, from ``--cores``."""
    count = whole_number(text) if len(text) < 10 else 0
    if count < 1:
        raise argparse.ArgumentTypeError(f"{text[:20]!r} is not a count of cores from 1 up")
    return count


def positive_seconds(text: str) -> float:
    """Seconds above zero, from ``--limit-s``."""
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0 < value < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of seconds above 0")
    return value


def _add_site(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("site", metavar="SITE", type=Path, help="folder of the site")


def _add_at(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--at",
        metavar="MOMENT",
        type=at_moment,
        help="moment planned for, such as 2026-03-02T05:30, site time unless an offset is given "
        "(default: planned_for of site.toml, else the next round_start)",
    )


def _add_out(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--out",
        metavar="DIR",
        type=out_folder,
        required=True,
        help="folder for the files",
    )


def _add_seed(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--seed",
        metavar="N",
        type=whole_number,
        default=1,
        help="random seed; the same input and seed give the same files (default 1)",
    )


def _add_limit_s(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--limit-s",
        metavar="S",
        type=positive_seconds,
        help="stop searching after S seconds (default: a fixed number of steps, which repeats)",
    )


def _add_format(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--format",
        choices=("text", "json"),
        default="text",
        help="what is printed: text for people, json for programs (default text)",
    )


def _add_cores(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--cores",
        metavar="N",
        type=core_count,
        help="use no more than N cores; the result is the same (default: all there are)",
    )


def _add_language(parser: argparse.ArgumentParser) -> None:
    from greaseroute.texts.language import languages

    parser.add_argument(
        "--language",
        metavar="CODE",
        choices=languages(),
        help=f"language of what is shown: {', '.join(languages())} (default: that of site.toml)",
    )


CHECKS = ("due", "all", "none")
"""Which daily checks a round may be asked to do."""


def _add_checks(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--checks",
        choices=CHECKS,
        default="none",
        help="daily checks done at each unit visited: those due, all, or none (default none)",
    )
    parser.add_argument(
        "--with-looks", action="store_const", const="due", dest="checks", help=argparse.SUPPRESS
    )  # as it was called before


_ADD: dict[str, Callable[[argparse.ArgumentParser], None]] = {
    "site": _add_site,
    "at": _add_at,
    "out": _add_out,
    "seed": _add_seed,
    "limit_s": _add_limit_s,
    "format": _add_format,
    "cores": _add_cores,
    "language": _add_language,
    "checks": _add_checks,
}


def add_options(parser: argparse.ArgumentParser, *names: str) -> None:
    """Give a verb the shared options named: site, at, out, seed, limit_s, format, cores,
    language."""
    for name in names:
        _ADD[name](parser)


def in_language(site: "Site", code: str | None) -> "Site":
    """The site in the language of ``--language``; in its own where that is not given."""
    return site if code is None else dataclasses.replace(site, language=code)
