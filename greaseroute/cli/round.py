"""``greaseroute round SITE --out DIR``: plan the round, write card and files, print the summary."""

import argparse
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from greaseroute.cli.files import write_bytes, write_text
from greaseroute.cli.options import add_options
from greaseroute.cli.progress import Progress

if TYPE_CHECKING:
    from concurrent.futures import Future

    from greaseroute.rounds.plan import RoundPlan
    from greaseroute.site.model import Site

HELP = "plan the round, write the card and the files, print the summary"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The shared options, ``--with-looks``, and what tells of a round under way."""
    add_options(parser, "site", "at", "out", "seed", "limit_s", "format")
    parser.add_argument(
        "--with-looks", action="store_true", help="also check the look points of each unit visited"
    )
    parser.add_argument(
        "--done-so-far", metavar="FILE", type=Path,
        help="plan the rest of a round under way: what is booked, where the technicians stand now, "
        "what moved, left or is blocked (JSON; `greaseroute schema done-so-far` tells its fields)",
    )  # fmt: skip
    parser.add_argument(
        "--plan", metavar="FILE", type=Path,
        help="round.json of the plan under way, whose order is kept to; only with --done-so-far",
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Plan, write, print; 1 where something due is left out or the search was cut short."""
    plan, site = _plan(args)
    with Progress() as progress:
        names = _write(args.out, plan, site, progress=progress)
    _print(plan, args, names)
    return 0 if plan.complete and not plan.left else 1


def _plan(args: argparse.Namespace) -> "tuple[RoundPlan, Site]":
    from greaseroute.cli.under_way import under_way
    from greaseroute.rounds.planner import plan_round
    from greaseroute.site.folder import read_site

    with Progress() as progress:
        progress(f"reading {args.site}")
        site = read_site(args.site)
        way = under_way(args, site)
        plan = plan_round(
            site,
            at=way.at,
            seed=args.seed,
            limit_s=args.limit_s,
            with_looks=args.with_looks,
            progress=progress,
            **way.change,
        )
    return plan, way.site


def _write(out: Path, plan: "RoundPlan", site: "Site", *, progress: Progress) -> list[str]:
    """Write every file of the round; the map as a picture too, where a renderer is installed."""
    from greaseroute.cards.card_model import walk_blocks
    from greaseroute.cards.html import card_html, card_template
    from greaseroute.cards.map_svg import map_svg
    from greaseroute.cards.png import png_aside, png_ready

    @cache
    def drawing() -> "tuple[str, Future[bytes] | None]":
        drawn = map_svg(site, plan)
        picture = png_aside(drawn) if png_ready() else None
        card_template()
        return drawn, picture

    progress("drawing the map and the card")
    walks = walk_blocks(plan, site, meanwhile=drawing)
    drawn, picture = drawing()
    card = card_html(plan, site, drawn_map=drawn, walks=walks)
    files = _texts(plan, site, drawn_map=drawn, card=card)
    for name, (text, encoding) in files.items():
        write_text(out / name, text, encoding=encoding)
    if picture is None:
        return [*files]
    write_bytes(out / "map.png", picture.result())
    return [*files, "map.png"]


def _texts(
    plan: "RoundPlan", site: "Site", *, drawn_map: str, card: str
) -> dict[str, tuple[str, str]]:
    """Every file of a round that is text, by name, as (text, encoding)."""
    from greaseroute.cards.geojson import walk_geojson
    from greaseroute.cards.gpx import walk_gpx
    from greaseroute.cards.lonlat import lonlat_of
    from greaseroute.cards.pumps_csv import ENCODING, pumps_csv

    to_lonlat = lonlat_of(site)
    files = {
        "round.json": (plan.model_dump_json(indent=1) + "\n", "utf-8"),
        "card.html": (card, "utf-8"),
        "pumps.csv": (pumps_csv(plan), ENCODING),
        "map.svg": (drawn_map, "utf-8"),
        "walk.geojson": (walk_geojson(plan, to_lonlat=to_lonlat), "utf-8"),
    }
    if to_lonlat is not None:
        files["walk.gpx"] = (walk_gpx(plan, to_lonlat=to_lonlat), "utf-8")
    return files


def _print(plan: "RoundPlan", args: argparse.Namespace, names: list[str]) -> None:
    """The summary for people, or the plan itself for programs."""
    if args.format == "json":
        print(plan.model_dump_json(indent=1))
        return
    from greaseroute.cards.summary import summary_text

    print(summary_text(plan))
    print(f"Written to {Path(args.out)}: {', '.join(names)}")
