"""The cautions of a round: few that hold everywhere, all others where they apply.

They defer to the machine maker's manual, the site's rules and local law. A source of one country
is given on cards of that country only. Sources were read in excerpts; those marked "from memory"
were not, and "common practice" has no source.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from greaseroute.plan.round import GENERAL_CAUTIONS, PlaceCaution, RoundPlan
from greaseroute.texts.language import ENGLISH, Language

COMMON = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: ``key`` is its short name on the card, ``rests_on`` its source."""

    key: str
    text: str
    rests_on: str


@dataclass(frozen=True, slots=True)
class ToldCaution:
    """A caution at its place: the key, where it applies (may be empty) and what to do, in English.

    Both texts are found again by the page, which puts them into the language of its reader.
    """

    key: str
    where: str
    text: str


RESTS_ON = {
    "STOP": COMMON,
    "BLOCK": COMMON,
    "LOTO": "ISO 14118 (from memory)",
    "NOMOVE": COMMON,
    "ARM": "ISO 10533:1993",
    "ARTIC": "ISO 20474-1:2017, 4.14.5",
    "PINCH": "ISO 3457 (scope)",
    "INJECT": "Verhoeven and Hierner 2008, doi 10.1007/s11751-008-0029-9",
    "NOPUMP": COMMON,
    "TRACK": "the same warning stands in the makers' manuals that were read",
    "CLIMB": "ISO 2867:2011",
    "HEIGHT": "ISO 2867:2011; local law on work at height",
    "TRAFFIC": COMMON,
    "VIS": "ISO 20471 (from memory); site rules",
    "HOT": "ISO 20474-1:2017, 4.14.2",
    "MIX": "ASTM D6185",
    "SPILL": COMMON,
    "ALONE": COMMON,
    "FACE": COMMON,
    "WATER": COMMON,
    "RAIL": COMMON,
    "TIP": COMMON,
    "ROAD": COMMON,
    "ZONE": COMMON,
    "DARK": COMMON,
}
"""What each caution of ``cautions.toml`` rests on in every country, by its key."""

OF_COUNTRY = {
    "US": {
        "STOP": "30 CFR 56.14105",
        "BLOCK": "29 CFR 1926.600(a)(3)(i)",
        "LOTO": "29 CFR 1910.147, which leaves construction out",
        "NOMOVE": "MSHA Program Policy Manual vol. V",
    },
    "GB": {"TRAFFIC": "HSE HSG144, 2nd edition 2009"},
}
"""What stands in the rules of one country, by its code (ISO 3166-1 alpha-2) and the key."""


def aid(say: Language = ENGLISH) -> str:
    """The sentence that says what a plan is and who decides."""
    return say("cautions.aid")


def general_cautions(say: Language = ENGLISH) -> tuple[Caution, ...]:
    """Those that hold at every machine, for the head of what is handed out, in its order."""
    return tuple(Caution(key, caution_text(key, say), RESTS_ON[key]) for key in GENERAL_CAUTIONS)


def own_cautions(texts: Iterable[str], say: Language = ENGLISH) -> list[str]:
    """Those of a plan's cautions that are no known ones: sentences of its own."""
    known = {caution_text(key, each) for key in RESTS_ON for each in (ENGLISH, say)}
    return [text for text in texts if text not in RESTS_ON and text not in known]


def stop_cautions(keys_or_texts: Iterable[str], say: Language = ENGLISH) -> tuple[str, ...]:
    """Texts of the cautions that belong to this stop and not to every stop."""
    own = (c for c in keys_or_texts if c not in GENERAL_CAUTIONS)
    return tuple(dict.fromkeys(caution_text(c, say) for c in own))


def told_cautions(cautions: Iterable[PlaceCaution]) -> tuple[ToldCaution, ...]:
    """The cautions of legs and places with their texts, those of a key together."""
    where: dict[str, list[str]] = {}
    for caution in cautions:
        where.setdefault(caution.key, []).append(caution.where)
    return tuple(
        ToldCaution(key, "; ".join(dict.fromkeys(filter(None, at))), caution_text(key))
        for key, at in where.items()
    )


def caution_text(key_or_text: str, say: Language = ENGLISH) -> str:
    """The text of a caution key such as ``ARTIC``; any other text stays as it is."""
    return say(f"cautions.{key_or_text}") if key_or_text in RESTS_ON else key_or_text


def keys_of(plan: RoundPlan) -> tuple[str, ...]:
    """Every key that a plan gives rise to, head included, in the order of the sources."""
    found = {*GENERAL_CAUTIONS, *plan.cautions}
    for technician in plan.technicians:
        found |= {c.key for c in technician.home_cautions}
        for stop in technician.stops:
            found |= {*stop.cautions, *(c.key for c in (*stop.way_cautions, *stop.place_cautions))}
    return tuple(key for key in RESTS_ON if key in found)


def sources(plan: RoundPlan, time_zone: str) -> tuple[tuple[str, str], ...]:
    """(source, keys that rest on it) of all cautions of a plan, for the back of a card.

    ``time_zone`` tells the country, and with it whose national rules may be named.
    """
    own = OF_COUNTRY.get(country_of(time_zone), {})
    found: dict[str, list[str]] = {}
    for key in keys_of(plan):
        everywhere, national = RESTS_ON[key], own.get(key, "")
        if national:
            both = (everywhere, national) if everywhere != COMMON else (national,)
            everywhere = "; ".join(both)
        found.setdefault(everywhere, []).append(key)
    return tuple((source, ", ".join(keys)) for source, keys in found.items())


@cache
def country_of(time_zone: str) -> str:
    """The code of the country that a zone of the IANA time zone database lies in, else ""."""
    table = files("tzdata").joinpath("zoneinfo", "zone.tab").read_text(encoding="utf-8")
    rows = (line.split("\t") for line in table.splitlines() if not line.startswith("#"))
    return next((row[0] for row in rows if row[2] == time_zone), "")


def local_caution(english: str, say: Language) -> str:
    """A caution of a card, which is in English, in the language."""
    key = next((k for k in RESTS_ON if caution_text(k) == english), english)
    return caution_text(key, say)


AID = aid()
