"""``greaseroute history SITE [UNIT]``: what was done, on one page; grease, cost, pace, stock."""

import argparse
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from greaseroute.cli.on_record import on_record
from greaseroute.cli.options import add_options, whole_number

if TYPE_CHECKING:
    from pathlib import Path

    from greaseroute.ledger.events import Event
    from greaseroute.plan.history import GreaseUse, PaceFound, UnitPast
    from greaseroute.site.model import Site

HELP = "what was done at a unit, on one page; with no unit grease, cost, pace, stock"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Which unit, how many days back, where the page goes, whether the pace is agreed to."""
    from pathlib import Path

    add_options(parser, "site", "at", "format")
    parser.add_argument("unit", metavar="UNIT", nargs="?", help="one unit on one page")
    parser.add_argument(
        "--days", metavar="N", type=whole_number, default=90, help="days looked back (default 90)"
    )
    parser.add_argument(
        "--out", metavar="DIR", type=Path, help="also write the page of UNIT there, with its plot"
    )
    parser.add_argument(
        "--yes", action="store_true",
        help="agree to the pace that is offered: later plans go by it",
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Print the page, or the site's table; exit code 0."""
    from greaseroute.errors import UnknownName
    from greaseroute.ledger.store import FILE, open_ledger
    from greaseroute.site.folder import read_site

    raw = read_site(args.site, now=args.at)
    path = args.site / FILE
    with open_ledger(path) as ledger:
        events = ledger.events(unit=args.unit)
    site, at = on_record(raw, args.site, args.at)
    if args.days < 1:
        raise UnknownName("--days", str(args.days), limit="1 or more", next_step="correct it")
    if args.unit is None:
        from greaseroute.history.pace import pace_found

        return _site_page(args, site, events, at=at, pace=pace_found(events, raw))
    return _unit_page(args, site, events, at=at)


def _unit_page(
    args: argparse.Namespace, site: "Site", events: "Sequence[Event]", *, at: datetime
) -> int:
    from greaseroute.cli.files import write_text
    from greaseroute.errors import UnknownName
    from greaseroute.history.page import unit_past

    unit = next((u for u in site.units if u.unit == args.unit), None)
    if unit is None:
        known = ", ".join(u.unit for u in site.units)
        away = {absence.unit for absence in site.past.absences}
        value = f"{args.unit}, which is away" if args.unit in away else args.unit
        raise UnknownName("UNIT", value, limit=known, next_step="name a unit of fleet.csv")
    past = unit_past(site, unit, events, at=at, days=args.days)
    if args.format == "json":
        print(past.model_dump_json(indent=1))
    else:
        print("\n".join(unit_text(past)))
    if args.out is not None:
        from greaseroute.cards.history_html import history_html

        target = args.out / f"history-{_file_name(past.unit)}.html"
        write_text(target, history_html(past))
        if args.format == "text":
            print(f"Written to {target}.")
    return 0


def _file_name(unit: str) -> str:
    return "".join(c if c.isalnum() or c in "-_" else "-" for c in unit)


def unit_text(past: "UnitPast") -> Iterator[str]:
    """The page of a unit on a terminal."""
    yield f"{past.unit}, {past.title}, {past.site}: {past.days} days up to {past.at:%Y-%m-%d %H:%M}"
    worked = "" if past.worked_h is None else f"; {past.worked_h:g} h worked in these days"
    joints = sum(len(each.joints) for each in past.joints)
    yield f"meter {past.meter_h:g} h{worked}; {past.due_joints} of {joints} joints due"
    yield from (use_line(use) for use in past.use)
    yield from past.notes
    yield ""
    for line in past.lines:
        who = f", {line.who}" if line.who else ""
        yield f"{line.at:%Y-%m-%d %H:%M}  {line.what}{who}"
    if past.earlier_lines:
        yield f"and {past.earlier_lines} earlier"
    if not past.lines:
        yield "nothing is recorded"


def use_line(use: "GreaseUse") -> str:
    """Grease of a unit in a line, with what it cost and the change against the span before."""
    trend = "" if use.trend_pct is None else f", {use.trend_pct:+.0f} % against the days before"
    cost = "" if use.cost is None else f", cost {use.cost:.2f}"
    lacking = f"; {use.unmeasured} services told no strokes" if use.unmeasured else ""
    return f"{use.grease}: {use.grams:.0f} g{cost}{trend}{lacking}"


def _site_page(
    args: argparse.Namespace,
    site: "Site",
    events: "Sequence[Event]",
    *,
    at: datetime,
    pace: "Sequence[PaceFound]",
) -> int:
    from greaseroute.history.use import grease_use

    use = grease_use(events, site, at=at, days=args.days)
    if args.format == "json":
        print(_site_json(use, pace))
    else:
        print("\n".join(site_text(site, use, pace, days=args.days, at=at)))
    if args.yes:
        agreed = _agree(args.site, pace, at=at)
        if args.format == "text":
            print(f"Agreed to {agreed} of the paces offered: later plans go by them.")
    return 0


def _site_json(use: "Iterable[GreaseUse]", pace: "Iterable[PaceFound]") -> str:
    import json

    rows = {"grease": [u.model_dump(mode="json") for u in use],
            "pace": [p.model_dump(mode="json") for p in pace]}  # fmt: skip
    return json.dumps(rows, indent=1, ensure_ascii=False)


def site_text(
    site: "Site",
    use: "Sequence[GreaseUse]",
    pace: "Sequence[PaceFound]",
    *,
    days: int,
    at: datetime,
) -> Iterator[str]:
    """Grease, stock and pace of the site on a terminal."""
    yield f"{site.name}: {days} days up to {at:%Y-%m-%d %H:%M}"
    yield ""
    yield "Grease, the most first"
    ordered = sorted(use, key=lambda each: -each.grams)
    yield from (f"  {each.unit:<10}  {use_line(each)}" for each in ordered)
    if not use:
        yield "  nothing is recorded"
    yield ""
    yield "In the store"
    for grease in site.greases:
        stock = grease.stock_cartridges
        told = "not told: count it" if stock is None else f"{stock:g} cartridges"
        yield f"  {grease.name}: {told}"
    yield ""
    yield "Pace: time taken over time planned, by technician and kind of joint"
    yield from (f"  {pace_line(each)}" for each in pace)
    if not pace:
        yield "  no card has told enough yet"
    if any(each.offered for each in pace):
        yield "  with --yes later plans go by the paces offered"


def pace_line(each: "PaceFound") -> str:
    """One pace with its count and spread."""
    offered = "offered" if each.offered else "too few to offer"
    now = "" if each.now == 1.0 else f", planned by {each.now:g} today"
    return (
        f"{each.technician}, {each.joint_kind}: {each.share:.2f} (half of {each.count} between "
        f"{each.low:.2f} and {each.high:.2f}; {each.actual_min:.0f} min for {each.planned_min:.0f} "
        f"planned{now}): {offered}"
    )


def _agree(folder: "Path", pace: "Iterable[PaceFound]", *, at: datetime) -> int:
    """Book the paces offered; gives how many."""
    from greaseroute.ledger.event_json import named_by_content, plain
    from greaseroute.ledger.events import PaceTaken
    from greaseroute.ledger.store import FILE, open_ledger

    taken = []
    for each in pace:
        if each.offered:
            event = PaceTaken(
                id="unnamed",
                at=at,
                source="history --yes",
                technician=each.technician,
                joint_kind=each.joint_kind,
                share=each.share,
                count=each.count,
                low=each.low,
                high=each.high,
            )
            taken.append(event.model_copy(update={"id": named_by_content(plain(event))}))
    with open_ledger(folder / FILE) as ledger:
        ledger.append(taken, received=at)
    return len(taken)
