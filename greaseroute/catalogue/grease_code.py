"""Grease designations: one after DIN 51825 / DIN 51502, one after ISO 6743-9; thickeners in words.

Meanings of the letters marked "from memory" below were not found in a text of the standard and
are used to compare codes, never printed as quoted.
"""

import re
from typing import Literal

from greaseroute.records import Record

NLGI = ("000", "00", "0", "1", "2", "3", "4", "5", "6")

DIN_USES = {
    "K": "rolling and plain bearings",
    "G": "closed gears",
    "OG": "open gears",
    "M": "plain bearings and seals, lower demands",
}

DIN_BASES = ("E", "FK", "HC", "PG", "PH", "SI", "X")

DIN_UPPER_C: dict[str, int] = {
    **{"C": 60, "D": 60, "E": 80, "F": 80, "G": 100, "H": 100},
    # from memory from here on
    **{"K": 120, "M": 120, "N": 140, "P": 160, "R": 180, "S": 200, "T": 220, "U": 220},
}

DIN_GOOD_WATER = frozenset("CEGK")
"""First letter of each pair: the better water rating (0-40 or 1-40)."""

ISO_LOWER_C: dict[str, int] = {"A": 0, "B": -20, "C": -30, "D": -40, "E": -41}  # from memory
ISO_UPPER_C: dict[str, int] = {  # from memory; G is above 180
    **{"A": 60, "B": 90, "C": 120, "D": 140},
    **{"E": 160, "F": 180, "G": 181},
}
ISO_WATER = ("none", "static moisture", "wash-out")  # from memory: letters A-C, D-F, G-I
ISO_RUST = ("none", "fresh water", "salt water")  # from memory: first, second, third of each row

_SHORT = {"li": "lithium", "ca": "calcium", "al": "aluminium", "aluminum": "aluminium"}
_SHORT |= {"cx": "complex", "x": "complex", "sulphonate": "sulfonate"}
_CLAYS = dict.fromkeys(("bentonite", "bentone", "clay bentonite"), "clay")

_DIN = re.compile(
    r"(?P<use>OG|K|G|M)(?P<extra>[PF]*)(?P<base>FK|HC|PG|PH|SI|E|X)?(?P<extra2>[PF]*)"
    r"(?P<nlgi>000|00|[0-6])(?P<upper>[C-HKMNPR-U])?(?:-(?P<lower>\d{2}))?"
)
_ISO = re.compile(
    r"(?:ISO-)?L-X(?P<lower>[A-E])(?P<upper>[A-G])(?P<water>[A-I])(?P<load>[AB])"
    r"(?P<nlgi>000|00|[0-6])"
)


class GreaseCode(Record):
    """What a designation says. ``lower_c``, ``upper_c`` are service limits in degrees C.

    ``use`` is a letter of DIN 51502 and empty for an ISO code; ``solid`` means solid lubricant
    (letter F); ``water`` is 0 (unstated or poor) to 2 (best) on its own standard's scale.
    """

    standard: Literal["DIN 51825", "ISO 6743-9"]
    text: str
    use: str = ""
    ep: bool
    solid: bool = False
    base: str = ""
    nlgi: str
    lower_c: int | None = None
    upper_c: int | None = None
    water: int = 0
    rust: int = 0


def _din(found: re.Match[str], text: str) -> GreaseCode:
    extra = (found["extra"] or "") + (found["extra2"] or "")
    upper = found["upper"]
    lower = found["lower"]
    return GreaseCode(
        standard="DIN 51825",
        text=text,
        use=found["use"],
        ep="P" in extra,
        solid="F" in extra,
        base=found["base"] or "",
        nlgi=found["nlgi"],
        lower_c=-int(lower) if lower else None,
        upper_c=DIN_UPPER_C[upper] if upper else None,
        water=2 if upper in DIN_GOOD_WATER else 0,
    )


def _iso(found: re.Match[str], text: str) -> GreaseCode:
    row = ord(found["water"]) - ord("A")
    return GreaseCode(
        standard="ISO 6743-9",
        text=text,
        ep=found["load"] == "B",
        nlgi=found["nlgi"],
        lower_c=ISO_LOWER_C[found["lower"]],
        upper_c=ISO_UPPER_C[found["upper"]],
        water=row // 3,
        rust=row % 3,
    )


def thickener_word(name: str) -> str:
    """A thickener in one spelling: ``Li-cx``, ``Lithium complex soap`` are ``lithium complex``."""
    plain = re.sub(r"[-_()\s]+", " ", name.lower()).removesuffix(" soap").strip()
    plain = _CLAYS.get(plain, plain)
    return " ".join(_SHORT.get(word, word) for word in plain.split())


def parse_code(text: str) -> GreaseCode | None:
    """The designation in ``text``, or None where it is neither of the two kinds.

    Blanks, letter case and leading words such as ``DIN 51825`` do not matter.
    """
    plain = re.sub(r"\s+", "", text).upper()
    plain = re.sub(r"^DIN5(1825|1502)[-:]?", "", plain)
    if found := _DIN.fullmatch(plain):
        return _din(found, plain)
    if found := _ISO.fullmatch(plain):
        return _iso(found, plain)
    return None
