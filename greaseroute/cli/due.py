"""``greaseroute due``: what is due on each machine, and why."""

import argparse
import json
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from greaseroute.cli.on_record import on_record
from greaseroute.cli.options import add_options, in_language

if TYPE_CHECKING:
    from greaseroute.intervals.worklist import DueItem

HELP = "print what is due on each machine and why"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_options(parser, "site", "at", "format", "language")
    parser.add_argument(
        "units", metavar="UNIT", nargs="*", help="every joint of these units, a sentence each"
    )
    parser.add_argument(
        "--unit", metavar="UNIT", action="append", default=[], help="this unit only; may repeat"
    )
    parser.add_argument(
        "--all", action="store_true",
        help="every joint in a sentence, also what is not due, only checked, or never pumped",
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Print the work list; exit code 0."""
    from greaseroute.intervals.worklist import work_list
    from greaseroute.site.folder import read_site

    read = in_language(read_site(args.site, now=args.at), args.language)
    site, at = on_record(read, args.site, args.at)
    away = [absence.unit for absence in site.past.absences]
    chosen = _chosen_units([*(unit.unit for unit in site.units), *away], [*args.units, *args.unit])
    items = [item for item in work_list(site, at) if item.unit in chosen]
    if args.format == "json":
        print(_json(site.name, at, items=items))
        return 0
    from greaseroute.cli.due_text import due_text, joint_sentences

    each = bool(args.units) or args.all
    print((joint_sentences if each else due_text)(site, at, items))
    return 0


def _chosen_units(known: Sequence[str], wanted: Sequence[str]) -> set[str]:
    from greaseroute.errors import UnknownName

    for name in wanted:
        if name not in known:
            raise UnknownName(
                "UNIT", name, limit=", ".join(known), next_step="name a unit of fleet.csv"
            )
    return set(wanted or known)


def _json(site: str, at: datetime, *, items: Iterable["DueItem"]) -> str:
    listed = [item.model_dump(mode="json") for item in items]
    return json.dumps(
        {"site": site, "at": at.isoformat(), "items": listed}, indent=2, ensure_ascii=False
    )
