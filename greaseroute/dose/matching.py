"""Which grease fits a joint's want, and which of a technician's guns to take."""

from collections.abc import Mapping, Sequence

from greaseroute.catalogue.joint import GreaseWant, Joint
from greaseroute.dose.codes import GreaseCode, parse_code
from greaseroute.dose.mixing import thickener_word
from greaseroute.records import Record
from greaseroute.site.crew import Grease, Gun


class Match(Record):
    """Whether a grease fits, and why not (or by what) in a few words."""

    ok: bool
    reason: str


class NoGun(Record):
    """No gun of this technician will do for a joint; ``reason`` says what each lacks."""

    reason: str


def _nlgi(want: GreaseWant, grease: Grease) -> str | None:
    have = grease.nlgi.upper().removeprefix("NLGI").strip()
    wanted = [n.upper().removeprefix("NLGI").strip() for n in want.nlgi]
    if not wanted or have in wanted:
        return None
    return f"wants NLGI {' or '.join(wanted)}, this is {have}"


def _thickener(want: GreaseWant, grease: Grease) -> str | None:
    if want.thickener is None:
        return None
    wanted, have = thickener_word(want.thickener), thickener_word(grease.thickener)
    return None if wanted == have else f"wants {wanted}, this is {have}"


def _moly(want: GreaseWant, grease: Grease) -> str | None:
    if want.moly is None or want.moly == grease.moly:
        return None
    return "wants moly, this has none" if want.moly else "must have no moly, this has it"


def _temperature_fault(want: GreaseCode, have: GreaseCode) -> str | None:
    if want.upper_c is not None and (have.upper_c is None or have.upper_c < want.upper_c):
        return f"wants service up to {want.upper_c} C, this gives {have.upper_c or 'no'} limit"
    if want.lower_c is not None and (have.lower_c is None or have.lower_c > want.lower_c):
        return f"wants service down to {want.lower_c} C, this gives {have.lower_c or 'no'} limit"
    return None


def _content_fault(want: GreaseCode, have: GreaseCode) -> str | None:
    if want.use != have.use:
        return f"wants letter {want.use}, this is {have.use}"
    if want.nlgi != have.nlgi:
        return f"wants NLGI {want.nlgi}, this is {have.nlgi}"
    if want.ep and not have.ep:
        return "wants high-pressure additive, this has none"
    if want.solid and not have.solid:
        return "wants solid lubricant, this has none"
    if want.water > have.water or want.rust > have.rust:
        return "wants a better water rating"
    return None


def code_fault(want: GreaseCode, have: GreaseCode) -> str | None:
    """Why a grease of code ``have`` does not meet ``want``, or None where it does."""
    if want.standard != have.standard:
        return f"code is after {have.standard}, wanted is {want.standard}: ask the supplier"
    return _content_fault(want, have) or _temperature_fault(want, have)


def _code(want: GreaseWant, grease: Grease) -> str | None:
    if want.code is None:
        return None
    if grease.code is None:
        return f"wants {want.code}, this carries no code"
    wanted, have = parse_code(want.code), parse_code(grease.code)
    if wanted is None or have is None:
        same = want.code.strip().upper() == grease.code.strip().upper()
        return None if same else f"wants {want.code}, this is {grease.code}: ask the supplier"
    return code_fault(wanted, have)


def fits(want: GreaseWant, grease: Grease) -> Match:
    """Whether ``grease`` is what a joint wants; a field the joint leaves open does not matter."""
    faults = [rule(want, grease) for rule in (_nlgi, _thickener, _moly, _code)]
    told = [fault for fault in faults if fault]
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
