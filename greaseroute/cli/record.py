"""``greaseroute record SITE FILE...``: book what was done, by card, by hand, or from a table."""

import argparse
import json
import sys
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from greaseroute.cli.files import write_text
from greaseroute.cli.options import add_options

if TYPE_CHECKING:
    from greaseroute.ledger.booking import Booked, HandedIn
    from greaseroute.ledger.events import PlanHandedOut
    from greaseroute.ledger.report import News
    from greaseroute.site.model import Site

HELP = "book what was done: a card's export, a receipt, events of a table"
EPILOG = """a FILE is the export of a card, a receipt (as text, or a picture of its code), or events
as JSON lines or CSV; the text itself may stand in its place, and - reads it from standard input.
The first booking takes over last_services.csv, meter_readings.csv, and the meters of fleet.csv."""

SHOWN = {
    "greased": "greased",
    "could_not": "could not",
    "defect": "defects seen",
    "uptake": "took too much or refused grease",
    "repaired": "repaired",
    "check": "checks done",
    "meter_read": "meters read",
    "meter_replaced": "meters replaced",
    "moved": "moved",
    "arrived": "arrived",
    "left": "left",
    "away": "away",
    "correction": "corrections",
    "plan_handed_out": "plans handed out",
    "cartridge_fitted": "cartridges fitted",
    "stock_counted": "stock counted",
    "stock_received": "stock received",
    "stock_taken": "stock taken",
    "pace_taken": "pace agreed to",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What is booked, of which plan, and where the record is written out."""
    parser.epilog = EPILOG
    add_options(parser, "site", "at", "format")
    parser.add_argument(
        "what",
        metavar="FILE",
        nargs="*",
        help="what comes back from a card; a text itself, or - for stdin",
    )
    parser.add_argument(
        "--event", metavar="WORD", nargs="+", action="append", default=[],
        help="one event: its kind, then FIELD=VALUE, such as --event away unit=DT-03 "
        "at=2026-10-01T06:00 until=2026-10-08T06:00; may repeat",
    )  # fmt: skip
    parser.add_argument(
        "--plan", metavar="FILE", type=Path, action="append", default=[],
        help="round.json of a plan that was walked, where the record does not hold it; may repeat",
    )  # fmt: skip
    parser.add_argument(
        "--export", metavar="FILE", type=Path,
        help="write every event out, as JSON lines, or as CSV where FILE ends in .csv",
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Book, export, print; exit code 0."""
    from greaseroute.ledger.store import FILE, open_ledger
    from greaseroute.site.folder import read_site

    site = read_site(args.site, now=args.at)
    now = booking_moment(args.at, site)
    plans = _plans(args, site) if args.plan else []
    handed_in = [*_given(args, site, plans)]
    path = args.site / FILE
    only_export = args.export is not None and not handed_in and not args.plan
    with open_ledger(path, create=not only_export) as ledger:
        booked = None
        if not only_export:
            from greaseroute.ledger.booking import Booking

            booked = Booking(site, ledger, now).book(handed_in, plans=plans)
        if args.export is not None:
            _export(args.export, ledger.events(in_force=False))
    _print(args, booked)
    return 0


def booking_moment(at: datetime | None, site: "Site") -> datetime:
    """The moment of booking: ``--at``, else the clock.

    Where the site is planned for a later day than the clock shows, that day.
    """
    from greaseroute.site.moment import in_zone

    zone = ZoneInfo(site.time_zone)
    if at is not None:
        return in_zone(at, zone)
    now = datetime.now(UTC).astimezone(zone)
    if site.planned_for is None:
        return now
    return max(now, site.planned_for.astimezone(zone) + timedelta(days=1))


def _given(
    args: argparse.Namespace, site: "Site", plans: "Sequence[PlanHandedOut]"
) -> "Iterator[HandedIn]":
    """Everything that came back, read; receipts by the plans given and those of the record."""
    from greaseroute.ledger.handed_in import read_handed_in, typed_event

    zone = ZoneInfo(site.time_zone)
    for what in args.what:
        name, data = _data(what)
        plan_of = partial(_plan_of, args.site, plans)
        yield read_handed_in(data, name, zone=zone, plan_of=plan_of)
    for words in args.event:
        yield typed_event(words, zone=zone)


def _plan_of(folder: Path, given: "Sequence[PlanHandedOut]", plan: str) -> "PlanHandedOut | None":
    """A plan by its id: one given with ``--plan``, or one that the record holds."""
    from greaseroute.ledger.events import PlanHandedOut
    from greaseroute.ledger.store import FILE, open_ledger

    found: list[object] = [each for each in given if each.plan == plan]
    if not found and (folder / FILE).is_file():
        with open_ledger(folder / FILE) as ledger:
            found = [*ledger.events(kinds=["plan_handed_out"], plan=plan)]
    return next((each for each in found if isinstance(each, PlanHandedOut)), None)


def _data(what: str) -> tuple[str, bytes]:
    """(name for messages, content) of a file, of standard input, or of the text that is given."""
    from greaseroute.errors import BadInput, Fault
    from greaseroute.ledger.handed_in import TAKEN, is_text_itself

    if what == "-":
        return "standard input", sys.stdin.buffer.read()
    path = Path(what)
    try:
        there = path.is_file()
    except (OSError, ValueError):  # too long for a name, or characters no name has
        there = False
    if there:
        return path.as_posix(), path.read_bytes()
    if is_text_itself(what):
        return "text", what.encode()
    shown = " ".join(what.split())[:60]
    fault = Fault(shown, 1, "file", "-", "no such file", TAKEN, "correct the path")
    raise BadInput(shown, [fault])


def _plans(args: argparse.Namespace, site: "Site") -> "list[PlanHandedOut]":
    """The plans given with ``--plan``."""
    from greaseroute.cli.plans import read_plan
    from greaseroute.plan.handed_out import plan_handed_out

    return [plan_handed_out(read_plan(path, site)) for path in args.plan]


def _export(path: Path, events: "Iterable[object]") -> None:
    from greaseroute.ledger.table import csv_text, json_lines

    rows = list(events)
    if path.suffix.lower() == ".csv":
        write_text(path, csv_text(rows), encoding="utf-8-sig")  # type: ignore[arg-type]
    else:
        write_text(path, json_lines(rows))  # type: ignore[arg-type]


def _print(args: argparse.Namespace, booked: "Booked | None") -> None:
    if args.format == "json":
        print(json.dumps(_as_json(booked, args), indent=1, ensure_ascii=False))
        return
    if booked is not None:
        print("\n".join(_lines(booked)))
    if args.export is not None:
        print(f"Written to {args.export}.")


def _as_json(booked: "Booked | None", args: argparse.Namespace) -> dict[str, object]:
    from dataclasses import asdict

    if booked is None:
        return {"export": str(args.export)}
    cards = [
        {"file": file, **{k: v for k, v in asdict(news).items() if k != "events"}}
        for file, news in booked.cards
    ]
    return {**asdict(booked), "cards": cards}


def _lines(booked: "Booked") -> Iterator[str]:
    for file, number in booked.taken_over.items():
        yield f"Taken over from {file}: {number}."
    for file, news in booked.cards:
        yield f"{file}: {_card_line(news)}."
    parts = [f"{SHOWN[kind]} {number}" for kind, number in booked.kinds.items()]
    if parts:
        yield f"Booked: {', '.join(parts)}."
    elif not booked.taken_over:
        yield "Nothing new to book."
    yield f"The record holds {booked.total} events."


def _card_line(news: "News") -> str:
    parts = [f"{news.new} new"]
    parts += [f"{news.same} booked before"] if news.same else []
    parts += [f"{news.replaced} changed since an earlier export"] if news.replaced else []
    parts += [f"{news.withdrawn} no longer ticked and taken back"] if news.withdrawn else []
    parts += [f"{news.older} older than what is booked and left out"] if news.older else []
    return ", ".join(parts)
