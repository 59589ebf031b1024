"""Which grease fits a joint's want, and which of a technician's guns to take."""

from collections.abc import Mapping, Sequence

from greaseroute.catalogue.joint import GreaseWant, Joint
from greaseroute.records import Record
from greaseroute.site.crew import Grease, Gun
from greaseroute.site.grease_fit import misfits


class Match(Record):
    """Whether a grease fits, and why not (or by what) in a few words."""

    ok: bool
    reason: str


class NoGun(Record):
    """No gun of this technician will do for a joint; ``reason`` says what each lacks."""

    reason: str


def fits(want: GreaseWant, grease: Grease) -> Match:
    """Whether ``grease`` is what a joint wants; a field the joint leaves open does not matter."""
    told = misfits(want, grease)
    if told:
        return Match(ok=False, reason=f"{grease.name}: {'; '.join(told)}")
    return Match(ok=True, reason=f"{grease.name} fits")


def _gun_fault(joint: Joint, gun: Gun, greases: Mapping[str, Grease]) -> str | None:
    match = fits(joint.grease, greases[gun.grease])
    if not match.ok:
        return f"gun {gun.name} holds {match.reason}"
    heads = sorted({fitting.head for fitting in joint.fittings} - set(gun.couplers))
    return f"gun {gun.name} has no coupler for {', '.join(heads)} heads" if heads else None


def gun_for(
    joint: Joint, *, technician_guns: Sequence[str], guns: Sequence[Gun], greases: Sequence[Grease]
) -> Gun | NoGun:
    """The technician's gun for ``joint``, or why there is none.

    Among the guns whose grease and couplers suit, one with the moly the joint prefers comes
    first, then the technician's own order.
    """
    gun_by = {gun.name: gun for gun in guns}
    grease_by = {grease.name: grease for grease in greases}
    faults = {name: _gun_fault(joint, gun_by[name], grease_by) for name in technician_guns}
    suited = [gun_by[name] for name in technician_guns if faults[name] is None]
    if not suited:
        return NoGun(reason="no gun fits: " + "; ".join(f for f in faults.values() if f))
    liked = joint.grease.prefers_moly
    return min(suited, key=lambda gun: liked not in (None, grease_by[gun.grease].moly))
