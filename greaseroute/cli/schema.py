"""``greaseroute schema``: the JSON Schema of ``round.json``, or of a file that is given."""

import argparse
import json
from typing import Any

HELP = "print the JSON Schema of round.json, or of a file that is read"
PARTS = ("site", "fleet", "ground", "type", "services")  # as in `fields`, which loads much
DIALECT = "https://json-schema.org/draft/2020-12/schema"
FILES = ("round", "done-so-far", "done-so-far-lonlat", *PARTS)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Which file."""
    parser.add_argument(
        "file", metavar="FILE", nargs="?", choices=FILES, default="round",
        help="round (round.json, the default), done-so-far (what `round --done-so-far` takes), or "
        "done-so-far-lonlat (the same on a site in longitude and latitude); site, fleet, ground, "
        "type, services: the files of a site folder, with units, bounds and usual values",
    )  # fmt: skip


def round_schema() -> dict[str, Any]:
    """The schema of the plan record, JSON Schema draft 2020-12."""
    from greaseroute.plan.round import RoundPlan

    return {"$schema": DIALECT, **RoundPlan.model_json_schema(mode="serialization")}


def done_so_far_schema(*, lonlat: bool) -> dict[str, Any]:
    """The schema of the file of what is done so far, JSON Schema draft 2020-12."""
    from greaseroute.replan.so_far import DoneSoFar
    from greaseroute.replan.so_far_file import DoneSoFarLonLat

    model = DoneSoFarLonLat if lonlat else DoneSoFar
    return {"$schema": DIALECT, **model.model_json_schema(mode="validation")}


def run(args: argparse.Namespace) -> int:
    """Print the schema."""
    if args.file in PARTS:
        from greaseroute.cli.fields import schema_of

        schema = schema_of(args.file)
    elif args.file == "round":
        schema = round_schema()
    else:
        schema = done_so_far_schema(lonlat=args.file == "done-so-far-lonlat")
    print(json.dumps(schema, indent=2, ensure_ascii=False))
    return 0
