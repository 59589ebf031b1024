"""Why a grease cannot be what a joint wants: grade, thickener, moly, and a code at all."""

from greaseroute.catalogue.joint import GreaseWant
from greaseroute.site.crew import Grease

_SHORT = {"li": "lithium", "ca": "calcium", "al": "aluminium", "aluminum": "aluminium"}
_SHORT |= {"cx": "complex", "sulphonate": "sulfonate"}


def misfit(want: GreaseWant, grease: Grease) -> str:
    """Why ``grease`` is not what is wanted, or an empty text.

    Two codes are not compared here: whether one meets another is a matter for the dose.
    """
    grade = _grade(grease.nlgi)
    if want.nlgi and grade not in {_grade(n) for n in want.nlgi}:
        return f"wants NLGI {' or '.join(want.nlgi)}, not {grease.nlgi}"
    if want.thickener and _words(want.thickener) != _words(grease.thickener):
        return f"wants {want.thickener}, not {grease.thickener}"
    if want.moly is not None and want.moly != grease.moly:
        return "wants moly" if want.moly else "must be free of moly"
    if want.code and grease.code is None:
        return f"wants {want.code}, carries no code"
    return ""


def _grade(text: str) -> str:
    return text.upper().removeprefix("NLGI").strip()


def _words(thickener: str) -> list[str]:
    """A thickener's words without its short forms: ``Li-cx`` is ``lithium complex``."""
    words = thickener.lower().replace("-", " ").replace("soap", "").split()
    return [_SHORT.get(w, w) for w in words]
