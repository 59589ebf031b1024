"""The options that only one verb has, as a list of records."""

import argparse
from collections.abc import Callable, Iterable
from typing import Any, NamedTuple


class OwnOption(NamedTuple):
    """One option of one verb; ``repeats`` gathers every value given in a list."""

    flag: str
    help: str
    metavar: str | None = None
    type: Callable[[str], Any] = str
    default: Any = None
    choices: tuple[str, ...] | None = None
    repeats: bool = False


def add_own_options(parser: argparse.ArgumentParser, options: Iterable[OwnOption]) -> None:
    """Give a verb the options of a list, in its order."""
    for o in options:
        parser.add_argument(
            o.flag,
            metavar=o.metavar,
            type=o.type,
            default=[] if o.repeats else o.default,
            choices=o.choices,
            action="append" if o.repeats else "store",
            help=o.help,
        )
