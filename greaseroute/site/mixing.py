"""May one grease follow another in the same joint: what a published chart says, and its limits."""

from typing import Literal

from greaseroute.catalogue.grease_code import thickener_word
from greaseroute.records import Record
from greaseroute.site.crew import Grease

Verdict = Literal["same grease", "compatible", "borderline", "incompatible", "unknown"]

SOURCE = "FIST 2-4, Lubrication of Powerplant Equipment, US Bureau of Reclamation, 1990, table 2"

THICKENERS = (
    "sodium",
    "aluminium complex",
    "barium",
    "calcium",
    "calcium complex",
    "clay",
    "lithium",
    "lithium complex",
    "polyurea",
)

# Rows and columns in the order of THICKENERS. Clay with clay is printed B in the copy read; that
# may be a fault of the copy and is kept as it stands.
_CHART = (
    "CIIIIIIII",
    "ICIIIIBCI",
    "IICIIIIII",
    "IIICIIBCI",
    "IIIICIIII",
    "IIIIIBIII",
    "IBIBIICCI",
    "ICICIICCI",
    "IIIIIIIIC",
)

_WORDS: dict[str, Verdict] = {"C": "compatible", "B": "borderline", "I": "incompatible"}

_DISAGREE = "charts disagree: ask the supplier, who tests the pair (ASTM D6185)"


class Mix(Record):
    """``verdict`` and one line for the technician; ``mix`` is True only where mixing is safe."""

    verdict: Verdict
    text: str

    @property
    def mix(self) -> bool:
        """Whether the second grease may go in without cleaning out the first."""
        return self.verdict in ("same grease", "compatible")


def mix_thickeners(first: str, second: str) -> Mix:
    """What the chart says of two thickeners. One it does not list is treated as: do not mix.

    Moly is an additive, not a thickener, and is never inferred from one.
    """
    one, two = thickener_word(first), thickener_word(second)
    missing = [word for word in (one, two) if word not in THICKENERS]
    if missing:
        return Mix(
            verdict="unknown",
            text=f"{missing[0]} is not on the chart: unknown, treat as do not mix",
        )
    verdict = _WORDS[_CHART[THICKENERS.index(one)][THICKENERS.index(two)]]
    return Mix(verdict=verdict, text=f"{one} with {two}: chart says {verdict}; {_DISAGREE}")


def mix_greases(first: Grease, second: Grease) -> Mix:
    """Whether ``second`` may follow ``first``: the same grease, or what the chart says."""
    if first.name == second.name:
        return Mix(verdict="same grease", text=f"same grease: {first.name}")
    return mix_thickeners(first.thickener, second.thickener)
