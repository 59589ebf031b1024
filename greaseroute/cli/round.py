"""``greaseroute round SITE --out DIR``: plan the round, write card and files, print the summary."""

import argparse
import importlib
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from greaseroute.cli.interrupt import stoppable
from greaseroute.cli.kernels import check_environment, ready_kernels
from greaseroute.cli.options import add_options, in_language
from greaseroute.cli.output_set import OutputSet, hashes_of
from greaseroute.cli.progress import Progress, progress_for

if TYPE_CHECKING:
    from greaseroute.cards.card_model import WalkBlock
    from greaseroute.cli.under_way import UnderWay
    from greaseroute.plan.round import RoundPlan
    from greaseroute.processes import Aside
    from greaseroute.site.model import Site
    from greaseroute.texts.language import Language

HELP = "plan the round, write the card and the files, print the summary"

FILES = (
    "round.json", "card.html", "card.pdf", "pumps.csv", "pumps.xlsx", "calls.ics",
    "map.svg", "map.png",
    "walk.geojson", "walk.gpx",
)  # fmt: skip

# How the texts of the stages begin, in their order.
STAGES = (
    "reading", "compiling", "placing machines", "stands", "walks", "order of", "how early",
    "drawing",
)  # fmt: skip


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The shared options and what tells of a round under way."""
    add_options(
        parser, "site", "at", "out", "seed", "limit_s", "format", "cores", "language", "checks"
    )
    parser.add_argument(
        "--done-so-far", metavar="FILE", type=Path, action="append",
        help="plan the rest of a round under way: what is booked, where the technicians stand now, "
        "what moved, left or is blocked (JSON; `greaseroute schema done-so-far` tells its fields); "
        "or the card of each technician as exported, the option once for each",
    )  # fmt: skip
    parser.add_argument(
        "--plan", metavar="FILE", type=Path,
        help="round.json of the plan under way, whose order is kept to; only with --done-so-far",
    )  # fmt: skip
    parser.add_argument(
        "--week", metavar="FILE", type=Path,
        help="week.json: this morning's joints and guns as the week has them, what differs is told",
    )  # fmt: skip
    parser.add_argument(
        "--absent", metavar="NAME", action="append", default=[],
        help="a technician who is not there this morning; may repeat",
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Plan, write, print; 1 where something due is left out or the search was cut short."""
    check_environment()
    output = OutputSet(args.out, "round", FILES, hashes_of(args.site))
    output.check()
    with progress_for(args, STAGES) as progress:
        plan, site, drawn = _plan(args, progress)
        progress("drawing the map and the card")
        files = _files(plan, site, drawn=drawn or _draw(plan, site))
        with stoppable():
            output.write(files)
            _hand_out(args.site, plan)
    _print(plan, args, list(files), say=site.say)
    return 0 if plan.complete and not plan.left else 1


@dataclass(frozen=True, slots=True)
class _Drawn:
    """The map, the stops, and map.png and card.pdf where their makers are installed."""

    map: str
    walks: "tuple[WalkBlock, ...]"
    on_the_way: "dict[str, Aside[bytes]]"


def _plan(args: argparse.Namespace, progress: Progress) -> "tuple[RoundPlan, Site, _Drawn | None]":
    """The plan, and what was drawn while its bound was sought."""
    from greaseroute.processes import Aside
    from greaseroute.site.folder import read_site

    progress(f"reading {args.site}")
    reading = Aside(lambda: read_site(args.site, now=args.at))
    try:
        _load_planner()
        site = in_language(reading.result(), args.language)
    finally:
        reading.end()
    from greaseroute.cli.under_way import under_way

    way = under_way(args, site)
    ready_kernels(progress)
    drawn: list[_Drawn] = []
    with stoppable():
        if way.so_far is None:
            plan = _whole_round(way.site, way.at, args, progress=progress, drawn=drawn)
        else:
            plan = _rest(way, args, progress=progress)
    return plan, way.site, drawn[0] if drawn else None


def _whole_round(
    site: "Site",
    at: datetime,
    args: argparse.Namespace,
    *,
    progress: Progress,
    drawn: "list[_Drawn]",
) -> "RoundPlan":
    """The plan of a whole round; what is drawn while its bound is sought goes to ``drawn``."""
    from greaseroute.cli.of_week import asked_of, told_of_week
    from greaseroute.rounds.planner import plan_round

    asked = asked_of(args, site, at)
    plan = plan_round(
        site,
        asked.request,
        effort=asked.effort,
        progress=progress,
        meanwhile=lambda plan: drawn.append(_draw(plan, site)),
    )
    return told_of_week(plan, asked)


def _rest(way: "UnderWay", args: argparse.Namespace, *, progress: Progress) -> "RoundPlan":
    """The plan of what is left of a round under way."""
    from greaseroute.replan.rest import plan_rest
    from greaseroute.rounds.request import Effort, RoundRequest

    assert way.so_far is not None
    return plan_rest(
        way.begun,
        RoundRequest(way.at, with_looks=args.checks != "none", every_look=args.checks == "all"),
        way.so_far,
        earlier=way.earlier,
        effort=Effort(args.seed, limit_s=args.limit_s),
        progress=progress,
    )


def _hand_out(folder: Path, plan: "RoundPlan") -> None:
    """Book that the plan went out, where the site keeps a record: receipts are read by it."""
    from greaseroute.ledger.store import FILE, open_ledger

    if not (folder / FILE).is_file():
        return
    from greaseroute.plan.handed_out import plan_handed_out

    with open_ledger(folder / FILE) as ledger:
        ledger.append([plan_handed_out(plan)], received=datetime.now(UTC))


def _draw(plan: "RoundPlan", site: "Site") -> _Drawn:
    """Everything that does not hang on the bound."""
    from greaseroute.cards.card_model import walk_blocks
    from greaseroute.cards.html import card_template
    from greaseroute.cards.paper import card_pdf
    from greaseroute.cards.typesetter import pdf_ready
    from greaseroute.drawings.map_svg import map_svg
    from greaseroute.drawings.png import png_aside, png_ready
    from greaseroute.processes import Aside

    @cache
    def drawing() -> "tuple[str, dict[str, Aside[bytes]]]":
        drawn = map_svg(site, plan)
        on_the_way = {"map.png": png_aside(drawn)} if png_ready() else {}
        card_template()
        return drawn, on_the_way

    walks = walk_blocks(plan, site, meanwhile=drawing)
    drawn, on_the_way = drawing()
    if pdf_ready():
        made = Aside(lambda: card_pdf(plan, site, drawn_map=drawn, walks=walks))
        on_the_way = {**on_the_way, "card.pdf": made}
    return _Drawn(drawn, walks, on_the_way)


def _load_planner() -> None:
    """Import what plans, and load what it is compiled from: it takes longer than to read a site."""
    importlib.import_module("greaseroute.rounds.planner")
    from greaseroute.kernel_cache import missing_kernels
    from greaseroute.walk.kernels import load_kernels

    if not missing_kernels():
        load_kernels()


def _files(plan: "RoundPlan", site: "Site", *, drawn: _Drawn) -> dict[str, bytes]:
    """Every file of the round by name, in the order of `FILES`."""
    from greaseroute.cards.html import card_html
    from greaseroute.cards.pumps_xlsx import pumps_xlsx, xlsx_ready

    card = card_html(plan, site, drawn_map=drawn.map, walks=drawn.walks)
    texts = _texts(plan, site, drawn_map=drawn.map, card=card)
    files = {name: text.encode(encoding) for name, (text, encoding) in texts.items()}
    if xlsx_ready():
        files["pumps.xlsx"] = pumps_xlsx(plan)
    made = {name: work.result() for name, work in drawn.on_the_way.items()}
    return {name: {**files, **made}[name] for name in FILES if name in files or name in made}


def _texts(
    plan: "RoundPlan", site: "Site", *, drawn_map: str, card: str
) -> dict[str, tuple[str, str]]:
    """Every file of a round that is text, by name, as (text, encoding)."""
    from greaseroute.cards.calls_ics import calls_ics
    from greaseroute.cards.geojson import walk_geojson
    from greaseroute.cards.gpx import walk_gpx
    from greaseroute.cards.pumps_csv import ENCODING, pumps_csv
    from greaseroute.site.lonlat import lonlat_of

    to_lonlat = lonlat_of(site)
    files = {
        "round.json": (plan.model_dump_json(indent=1) + "\n", "utf-8"),
        "card.html": (card, "utf-8"),
        "pumps.csv": (pumps_csv(plan), ENCODING),
        "calls.ics": (calls_ics(plan, site), "utf-8"),
        "map.svg": (drawn_map, "utf-8"),
        "walk.geojson": (walk_geojson(plan, to_lonlat=to_lonlat), "utf-8"),
    }
    if to_lonlat is not None:
        files["walk.gpx"] = (walk_gpx(plan, to_lonlat=to_lonlat), "utf-8")
    return files


def _print(
    plan: "RoundPlan", args: argparse.Namespace, names: list[str], *, say: "Language"
) -> None:
    """The summary for people, or the plan itself for programs."""
    if args.format == "json":
        print(plan.model_dump_json(indent=1))
        return
    from greaseroute.cards.summary import summary_text

    print(summary_text(plan, say))
    print(say("summary.written", folder=str(args.out), files=", ".join(names)))
