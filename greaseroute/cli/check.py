"""``greaseroute check SITE``: every fault of a site folder, one a line."""

import argparse
import json
import sys
from collections.abc import Iterator
from dataclasses import asdict
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from greaseroute.cli.options import add_options, in_language

if TYPE_CHECKING:
    from greaseroute.site.folder import FolderReading
    from greaseroute.site.model import Site

HELP = "every fault of a site folder, or 'good'"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of the verb."""
    add_options(parser, "site", "format", "language")


def run(args: argparse.Namespace) -> int:
    """Print what the folder holds and give 0, or print every fault to stderr and give 2.

    What is strange but can be is printed to stderr as well, and changes nothing.
    """
    from greaseroute.site.folder import read_folder  # heavy: kept out of --help

    reading = read_folder(args.site, clock=datetime.now(UTC))
    if args.format == "json":
        print(_as_json(reading))
    else:
        for line in (*reading.faults, *(() if args.quiet else reading.remarks)):
            print(line, file=sys.stderr)
        if reading.site is not None:
            print(_good(in_language(reading.site, args.language), len(reading.remarks)))
    return 0 if reading.site is not None else 2


def counts(site: "Site") -> tuple[int, int, int]:
    """(units, joints, fittings) of a site, with the attachments that are fitted."""
    machines = [site.machine(u) for u in site.units]
    joints = [j for m in machines for j in m.joints]
    return len(site.units), len(joints), sum(len(j.fittings) for j in joints)


def _good(site: "Site", remarks: int) -> str:
    say, nouns = site.say, ("unit", "joint", "fitting")
    told = {f"{noun}s": say.count(n, noun) for noun, n in zip(nouns, counts(site), strict=True)}
    good = say("check.good", **told)
    if remarks:
        good = say("check.warned", good=good, warnings=say.count(remarks, "warning"))
    ways = map(say.sentence, _only_ways(site))
    return "\n".join([good, *_anchored(site), *ways, *_start_values(site)])


def _anchored(site: "Site") -> list[str]:
    """How well the points of the anchor fit together."""
    if site.anchor is None:
        return []
    from greaseroute.site.anchor_fit import fit_anchor

    fit, n, say = fit_anchor(site.anchor), len(site.anchor.points), site.say
    off = say("check.anchor_off", m=fit.residual_m) if n > 2 else say("check.anchor_of_two")
    return [say("check.anchor", n=n, deg=fit.turned_deg, scale=fit.scale, off=off)]


def _only_ways(site: "Site") -> list[str]:
    """A line for each gate or crossing that is the only way to some unit."""
    if not site.ground.gates and not site.ground.crossings:
        return []  # and nothing heavy is loaded
    from greaseroute.walk.site_graph import only_ways

    return [str(way) for way in only_ways(site)]


def _start_values(site: "Site") -> "Iterator[str]":
    """Types in use whose intervals and doses nobody has confirmed for this site."""
    from greaseroute.site.checks.start_values import unconfirmed_types

    say = site.say
    found = list(unconfirmed_types(site.units, site.types))
    if found:
        yield say("check.start_values", types=say.count(len(found), "type"))
    for unit, joints in found:
        machine = site.types[unit.type]
        by_hand = say.count(sum(joint.by_hand for joint in machine.joints), "joint")
        told = {"type": unit.type, "n": len(joints), "joints": by_hand}
        yield "  " + say("check.type_line", **told, work=say(f"check.work_{machine.start_values}"))


def _as_json(reading: "FolderReading") -> str:
    answer: dict[str, object] = {
        "good": reading.site is not None,
        "faults": [asdict(fault) for fault in reading.faults],
        "warnings": [asdict(remark) for remark in reading.remarks],
    }
    if reading.site is not None:
        answer |= dict(zip(("units", "joints", "fittings"), counts(reading.site), strict=True))
        answer["only_ways"] = _only_ways(reading.site)
        if unconfirmed := _unconfirmed(reading.site):
            answer["unconfirmed"] = unconfirmed
    return json.dumps(answer, indent=2, ensure_ascii=False)


def _unconfirmed(site: "Site") -> list[dict[str, object]]:
    from greaseroute.site.checks.start_values import unconfirmed_types

    return [
        {"type": unit.type, "stands_for": site.types[unit.type].start_values, "joints": joints}
        for unit, joints in unconfirmed_types(site.units, site.types)
    ]
