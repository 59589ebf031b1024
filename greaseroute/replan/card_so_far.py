"""How far a round has come, told by the cards of those who walk it."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from greaseroute.dose.cartridges import cartridge_strokes
from greaseroute.errors import Fault
from greaseroute.ledger.card_file import Lines
from greaseroute.ledger.checks import SiteNames, Told, event_faults
from greaseroute.ledger.events import CartridgeFitted, CouldNot, Event, Greased
from greaseroute.ledger.report import Report
from greaseroute.plan.handed_out import round_id
from greaseroute.plan.round import RoundPlan
from greaseroute.replan.so_far import BlockedFitting, DoneSoFar
from greaseroute.site.model import Site
from greaseroute.site.morning import Morning

TO_BE_TRIED_AGAIN: Final = ("no time", "machine was in use")
"""Reasons for which a fitting stays in the plan of the rest."""


def card_faults(
    report: Report, where: Lines, site: Site, *, earlier: RoundPlan | None
) -> list[Fault]:
    """What keeps a card from telling how far this round has come."""
    found = list(event_faults(Told(report.events, where), SiteNames(site), now=report.told_at))
    if report.site not in (None, site.name):
        texts = (str(report.site), f"a card of {site.name!r}")
        found.append(Fault(where.file, 1, "card", "site", *texts, "give the card of this site"))
    if earlier is not None and report.plan != round_id(earlier):
        texts = (f"plan {report.plan}", f"the plan given, {round_id(earlier)}")
        found.append(
            Fault(where.file, 1, "card", "round", *texts, "give the round.json of this card")
        )
    return found


def moment_faults(report: Report, where: Lines, morning: Morning) -> Iterator[Fault]:
    """A card exported outside the morning it is of."""
    if not morning.zero <= report.told_at < morning.end:
        allowed = f"from {morning.zero:%Y-%m-%d %H:%M} to before {morning.end:%Y-%m-%d %H:%M}"
        told = report.told_at.astimezone(morning.zero.tzinfo)
        do = "give a card exported during the round"
        yield Fault(where.file, 1, "card", "exported_at", f"{told:%Y-%m-%d %H:%M}", allowed, do)


def so_far_of(reports: Sequence[Report], site: Site, *, earlier: RoundPlan | None) -> DoneSoFar:
    """What the cards of a round tell, up to the latest of them.

    A technician stands where the last thing was ticked, if the plan under way is given; what is
    left in the guns follows from the strokes given and the cartridges put in.
    """
    events = [event for report in reports for event in report.events]
    greased = [e for e in events if isinstance(e, Greased) and e.fitting is not None]
    held = [
        e for e in events
        if isinstance(e, CouldNot) and e.joint and e.reason not in TO_BE_TRIED_AGAIN
    ]  # fmt: skip
    return DoneSoFar(
        at=max(report.told_at for report in reports),
        done_fittings=tuple((e.unit, e.joint, str(e.fitting)) for e in greased),
        blocked=tuple(
            BlockedFitting(
                unit=e.unit, joint=str(e.joint), fitting=e.fitting, reason=e.words or e.reason
            )
            for e in held
        ),
        places={} if earlier is None else dict(_places(events, earlier)),
        left_strokes=dict(_left_strokes(events, site)),
    )


def _places(events: Iterable[Event], plan: RoundPlan) -> Iterator[tuple[str, tuple[float, float]]]:
    """Where each technician ticked something last."""
    stands = {
        (stop.unit, task.joint, task.fitting): (stand.x_m, stand.y_m)
        for technician in plan.technicians
        for stop in technician.stops
        for stand in stop.stands
        for task in stand.fittings
    }
    for event in sorted(events, key=lambda e: e.at):
        names = tuple(getattr(event, name, None) for name in ("unit", "joint", "fitting"))
        if event.technician and names in stands:
            yield event.technician, stands[names]


def _left_strokes(events: Iterable[Event], site: Site) -> Iterator[tuple[str, int]]:
    """Strokes left in each gun that was used."""
    guns = {gun.name: gun for gun in site.guns}
    greases = {grease.name: grease for grease in site.greases}
    left = {name: gun.left_strokes for name, gun in guns.items()}
    used = set()
    order = (CartridgeFitted, Greased)
    told = [e for e in events if isinstance(e, order) and e.gun in guns]
    for event in sorted(told, key=lambda e: (e.at, isinstance(e, Greased))):
        name = str(event.gun)
        used.add(name)
        if isinstance(event, CartridgeFitted):
            grease = greases[guns[name].grease]
            left[name] = event.cartridges * cartridge_strokes(guns[name], grease)
        elif isinstance(event, Greased):
            left[name] = max(0, left[name] - (event.strokes or 0))
    yield from ((name, left[name]) for name in sorted(used))
