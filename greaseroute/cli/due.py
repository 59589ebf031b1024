"""``greaseroute due``: what is owed on each unit, and why."""

import argparse
import json
from collections.abc import Iterable, Sequence
from datetime import datetime
from itertools import groupby
from typing import TYPE_CHECKING

from greaseroute.cli.on_record import on_record
from greaseroute.cli.options import add_options

if TYPE_CHECKING:
    from greaseroute.due.worklist import DueItem

HELP = "print what is owed on each unit and why"

SHOWN = {"due": "due", "ahead": "due ahead", "not due": "later", "look only": "look only"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_options(parser, "site", "at", "format")
    parser.add_argument(
        "--unit", metavar="UNIT", action="append", help="this unit only; may repeat"
    )
    parser.add_argument(
        "--all", action="store_true", help="also what is not owed, looked at, or never pumped"
    )


def run(args: argparse.Namespace) -> int:
    """Print the work list; exit code 0."""
    from greaseroute.due.worklist import carried_note, work_list
    from greaseroute.site.folder import read_site

    site, at = on_record(read_site(args.site), args.site, args.at)
    chosen = _chosen_units([unit.unit for unit in site.units], args.unit)
    items = [item for item in work_list(site, at) if item.unit in chosen]
    if args.format == "json":
        print(_json(site.name, at, items=items))
    else:
        print(_text(site.name, at, items=items, everything=args.all))
        if note := carried_note(site, at):
            print(note)
    return 0


def _chosen_units(known: Sequence[str], wanted: Sequence[str] | None) -> set[str]:
    from greaseroute.errors import UnknownName

    for name in wanted or ():
        if name not in known:
            raise UnknownName(
                "--unit", name, limit=", ".join(known), next_step="name a unit of fleet.csv"
            )
    return set(wanted or known)


def _json(site: str, at: datetime, *, items: Iterable["DueItem"]) -> str:
    listed = [item.model_dump(mode="json") for item in items]
    return json.dumps(
        {"site": site, "at": at.isoformat(), "items": listed}, indent=2, ensure_ascii=False
    )


def _text(site: str, at: datetime, *, items: Sequence["DueItem"], everything: bool) -> str:
    lines = [f"{site}, {at:%Y-%m-%d %H:%M}: what is owed", ""]
    for unit, group in groupby(items, key=lambda item: item.unit):
        lines += _unit_lines(unit, list(group), everything=everything)
    return "\n".join([*lines, _total(items)])


def _unit_lines(unit: str, items: Sequence["DueItem"], *, everything: bool) -> list[str]:
    owed = [item for item in items if item.due]
    shown = items if everything else owed
    if not shown:
        return []
    fittings = sum(item.fittings for item in owed)
    head = f"{unit}  {items[0].type}: {len(owed)} joints owed, {fittings} fittings"
    width = max(len(item.joint) for item in shown)
    return [head, *(_line(item, width=width) for item in shown), ""]


def _line(item: "DueItem", *, width: int) -> str:
    word = SHOWN.get(item.status, item.status)
    return f"  {item.joint:<{width}}  {word:<12}  {item.reason}"


def _total(items: Sequence["DueItem"]) -> str:
    owed = [item for item in items if item.due]
    ahead = sum(item.status == "ahead" for item in owed)
    units = len({item.unit for item in owed})
    look = sum(item.status == "look only" for item in items)
    return (
        f"owed: {len(owed)} joints, {sum(item.fittings for item in owed)} fittings on {units} "
        f"units ({ahead} of the joints fall due before the next round); "
        f"{look} joints to look at only"
    )
