"""``greaseroute check SITE``: every fault of a site folder, one a line."""

import argparse
import json
from collections.abc import Iterable
from dataclasses import asdict
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from greaseroute.cli.options import add_options

if TYPE_CHECKING:
    from greaseroute.errors import Fault
    from greaseroute.site.model import Site

HELP = "every fault of a site folder, or 'good'"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of the verb."""
    add_options(parser, "site", "format")


def run(args: argparse.Namespace) -> int:
    """Print every fault and give 2, or print what the folder holds and give 0."""
    from greaseroute.site.folder import gather  # heavy: kept out of --help

    site, faults = gather(args.site, now=datetime.now(UTC))
    print(_as_json(site, faults) if args.format == "json" else _as_text(site, faults))
    return 0 if site is not None else 2


def counts(site: "Site") -> tuple[int, int, int]:
    """(units, joints, fittings) of a site, with the attachments that are fitted."""
    machines = [site.types[u.type].with_attachments(u.attachments) for u in site.units]
    joints = [j for m in machines for j in m.joints]
    return len(site.units), len(joints), sum(len(j.fittings) for j in joints)


def _as_text(site: "Site | None", faults: "Iterable[Fault]") -> str:
    if site is None:
        return "\n".join(str(f) for f in faults)
    units, joints, fittings = counts(site)
    good = f"{units} units, {joints} joints, {fittings} fittings: good"
    return "\n".join([good, *_only_ways(site)])


def _only_ways(site: "Site") -> list[str]:
    """A line for each gate or crossing that is the only way to some unit."""
    if not site.ground.gates and not site.ground.crossings:
        return []  # and nothing heavy is loaded
    from greaseroute.walk.site_graph import only_ways

    return [str(way) for way in only_ways(site)]


def _as_json(site: "Site | None", faults: "Iterable[Fault]") -> str:
    answer: dict[str, object] = {"good": site is not None, "faults": [asdict(f) for f in faults]}
    if site is not None:
        answer |= dict(zip(("units", "joints", "fittings"), counts(site), strict=True))
        answer["only_ways"] = _only_ways(site)
    return json.dumps(answer, indent=2, ensure_ascii=False)
