"""A round under way, from ``--done-so-far`` and ``--plan``: read, checked, every fault told."""

import argparse
from collections.abc import Mapping, Sequence
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
from greaseroute.site.morning import Morning, morning_of
from greaseroute.texts.text_file import read_text


@dataclass(frozen=True, slots=True)
class UnderWay:
    """The moment the round began, the site then and now (by its record), what happened since.

    ``begun`` is the site as the round began. ``so_far`` is None where no round is under way;
    ``earlier`` is its plan, where it is given.
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
    so_far = _so_far(args.done_so_far, site, at, earlier=earlier, faults=faults)
    if faults or so_far is None:
        raise BadInput(str(args.done_so_far[0]), faults)
    now = site_now(site, so_far, earlier=earlier)
    return UnderWay(at, site, now, so_far, earlier)


def _so_far(
    paths: Sequence[Path],
    site: Site,
    at: datetime,
    *,
    earlier: RoundPlan | None,
    faults: list[Fault],
) -> DoneSoFar | None:
    """What the files tell: one in the form of `done-so-far`, or the cards of the round."""
    from greaseroute.ledger.card_file import LOOKS_LIKE
    from greaseroute.replan.so_far_file import read_done_so_far

    texts = {path.as_posix(): text for path in paths if (text := _text(path, faults)) is not None}
    morning = morning_of(site, at)
    if texts and all(LOOKS_LIKE in text for text in texts.values()):
        return _of_cards(texts, site, morning, earlier=earlier, faults=faults)
    if len(texts) > 1:
        raise UnknownName(
            "--done-so-far", f"{len(texts)} files", limit="one file, or cards alone",
            next_step="write it all down in one file, or give the cards of the round",
        )  # fmt: skip
    for name, text in texts.items():
        so_far, wrong = read_done_so_far(text, name, site, morning=morning)
        faults += wrong
        return so_far
    return None


def _of_cards(
    texts: Mapping[str, str],
    site: Site,
    morning: Morning,
    *,
    earlier: RoundPlan | None,
    faults: list[Fault],
) -> DoneSoFar | None:
    """What the cards of the round tell."""
    from greaseroute.ledger.card_file import read_card
    from greaseroute.replan.card_so_far import card_faults, moment_faults, so_far_of

    reports = []
    for name, text in texts.items():
        report, lines, wrong = read_card(text, name)
        faults += wrong
        if report is not None:
            faults += card_faults(report, lines, site, earlier=earlier)
            faults += moment_faults(report, lines, morning)
            reports.append(report)
    return None if faults else so_far_of(reports, site, earlier=earlier)


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
        for joint in begun.machine(unit).joints
    }
    return AuditAsked(
        under_way=AuditUnderWay(
            begun=begun,
            began=way.at,
            booked=frozenset(booked),
            booked_fittings=frozenset(so_far.done_fittings),
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
