"""A round under way, from ``--done-so-far`` and ``--plan``: read, checked, every fault told."""

import argparse
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from greaseroute.audit.basis import Asked as AuditAsked
from greaseroute.audit.basis import UnderWay as AuditUnderWay
from greaseroute.cli.on_record import on_record
from greaseroute.errors import BadInput, Fault, UnknownName
from greaseroute.plan.round import RoundPlan
from greaseroute.replan.so_far import DoneSoFar, site_now
from greaseroute.site.model import Site
from greaseroute.site.morning import morning_of
from greaseroute.texts.text_file import read_text


@dataclass(frozen=True, slots=True)
class UnderWay:
    """The moment the round began, the site then and now (by its record), what happened since.

    ``so_far`` is None where no round is under way; ``earlier`` is its plan, where it is given.
    """

    at: datetime
    begun: Site
    site: Site
    so_far: DoneSoFar | None = None
    earlier: RoundPlan | None = None


def under_way(args: argparse.Namespace, site: Site) -> UnderWay:
    """What the options tell. Raises BadInput with every fault of both files, UnknownName."""
    if args.done_so_far is None:
        if args.plan is not None:
            raise UnknownName(
                "--plan", str(args.plan), limit="together with --done-so-far",
                next_step="tell what is done so far, or leave --plan out",
            )  # fmt: skip
        site, at = on_record(site, args.site, args.at)
        return UnderWay(at, site, site)
    faults: list[Fault] = []
    earlier = _earlier(args.plan, site, faults)
    told = args.at
    if told is None and earlier is not None:
        told = datetime.fromisoformat(earlier.at)
    site, at = on_record(site, args.site, told)
    from greaseroute.replan.so_far_file import read_done_so_far

    text = _text(args.done_so_far, faults)
    so_far = None
    if text is not None:
        name = args.done_so_far.as_posix()
        so_far, wrong = read_done_so_far(text, name, site, morning=morning_of(site, at))
        faults += wrong
    if faults or so_far is None:
        raise BadInput(str(args.done_so_far), faults)
    now = site_now(site, so_far, earlier=earlier)
    return UnderWay(at, site, now, so_far, earlier)


def as_asked(way: UnderWay) -> AuditAsked:
    """What an audit of the rest is told: the site as the round began, what is done and blocked."""
    so_far, begun = way.so_far, way.begun
    if so_far is None:
        return AuditAsked()
    whole = set(so_far.done_units)
    booked = set(so_far.done) | {
        (unit.unit, joint.name)
        for unit in begun.units
        if unit.unit in whole
        for joint in begun.types[unit.type].with_attachments(unit.attachments).joints
    }
    return AuditAsked(
        under_way=AuditUnderWay(
            begun=begun,
            began=way.at,
            booked=frozenset(booked),
            gone=frozenset(so_far.gone),
            blocked=frozenset((b.unit, b.joint, b.fitting or "") for b in so_far.blocked),
        )
    )


def _earlier(path: Path | None, site: Site, faults: list[Fault]) -> RoundPlan | None:
    if path is None:
        return None
    text = _text(path, faults)
    if text is None:
        return None
    from greaseroute.replan.so_far_file import read_earlier

    plan, wrong = read_earlier(text, path.as_posix(), site)
    faults += wrong
    return plan


def _text(path: Path, faults: list[Fault]) -> str | None:
    """The text of a file, its faults told under the path as it was given."""
    text, wrong = read_text(path.parent, path.name)
    faults += [Fault(path.as_posix(), f.line, f.record, f.field, f.value, f.allowed, f.do)
               for f in wrong]  # fmt: skip
    return text
