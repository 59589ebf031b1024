"""Why a grease is not what a joint wants: grade, thickener, moly, designation."""

from collections.abc import Iterable

from greaseroute.catalogue.grease_code import GreaseCode, parse_code, thickener_word
from greaseroute.catalogue.joint import GreaseWant
from greaseroute.site.crew import Grease


def misfits(want: GreaseWant, grease: Grease) -> list[str]:
    """Every reason why ``grease`` is not what is wanted; a field left open does not matter."""
    told = [rule(want, grease) for rule in (_purpose, _nlgi, _thickener, _moly, _code)]
    return [reason for reason in told if reason]


def lacks_purpose(want: GreaseWant, greases: Iterable[Grease]) -> bool:
    """Whether a joint wants a grease made for one thing and none of ``greases`` is that."""
    return want.purpose is not None and want.purpose not in {g.purpose for g in greases}


def _purpose(want: GreaseWant, grease: Grease) -> str | None:
    if want.purpose == grease.purpose:
        return None
    if want.purpose is None:
        return f"is {grease.purpose} and goes nowhere else"
    return f"wants {want.purpose}"


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
