"""The cautions every card carries, each with what it rests on.

They defer to the machine maker's manual, the site's rules and local law. Sources were read in
excerpts; those marked "from memory" were not, and "common practice" has no source.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from greaseroute.texts.language import ENGLISH, Language


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: ``key`` is its short name on the card, ``rests_on`` its source."""

    key: str
    text: str
    rests_on: str


RESTS_ON = {
    "STOP": "30 CFR 56.14105",
    "BLOCK": "29 CFR 1926.600(a)(3)(i); Cal. Title 8 section 1595",
    "LOTO": "ISO 14118 (from memory); 29 CFR 1910.147, which leaves construction out",
    "NOMOVE": "Minn. Rules 5207.0730; MSHA Program Policy Manual vol. V",
    "ARM": "ISO 10533:1993",
    "ARTIC": "ISO 20474-1:2017, 4.14.5",
    "PINCH": "ISO 3457 (scope)",
    "INJECT": "Verhoeven and Hierner 2008, doi 10.1007/s11751-008-0029-9",
    "NOPUMP": "common practice, no source",
    "TRACK": "the same warning stands in the makers' manuals that were read",
    "CLIMB": "ISO 2867:2011",
    "HEIGHT": "ISO 2867:2011; local law on work at height",
    "TRAFFIC": "HSE HSG144, 2nd edition 2009",
    "VIS": "ISO 20471 (from memory); site rules",
    "HOT": "ISO 20474-1:2017, 4.14.2",
    "MIX": "ASTM D6185",
    "SPILL": "common practice, no source",
    "ALONE": "common practice, no source",
}
"""What each caution of ``cautions.toml`` rests on, by its key, in the order of the card."""

# What belongs to some machines or places only is repeated at their stop; what holds at every stop
# stands once at the head of the card, for a warning read forty times is read no more.
OF_ONE_MACHINE = ("ARM", "ARTIC", "TRACK", "CLIMB", "HEIGHT", "HOT", "MIX")


def aid(say: Language = ENGLISH) -> str:
    """The sentence that says what a plan is and who decides."""
    return say("cautions.aid")


def before_you_start(say: Language = ENGLISH) -> tuple[Caution, ...]:
    """The standing list, in the order of the card."""
    return tuple(Caution(key, say(f"cautions.{key}"), rests) for key, rests in RESTS_ON.items())


def own_cautions(texts: Iterable[str], say: Language = ENGLISH) -> list[str]:
    """Those of a plan's cautions that are not in the standing list already."""
    standing = {caution.text for each in (ENGLISH, say) for caution in before_you_start(each)}
    return [text for text in texts if text not in RESTS_ON and text not in standing]


def stop_cautions(keys_or_texts: Iterable[str], say: Language = ENGLISH) -> tuple[str, ...]:
    """Texts of the cautions that belong to this stop and not to every stop."""
    everywhere = RESTS_ON.keys() - set(OF_ONE_MACHINE)
    own = (c for c in keys_or_texts if c not in everywhere)
    return tuple(dict.fromkeys(caution_text(c, say) for c in own))


def caution_text(key_or_text: str, say: Language = ENGLISH) -> str:
    """The text of a caution key such as ``ARTIC``; any other text stays as it is."""
    return say(f"cautions.{key_or_text}") if key_or_text in RESTS_ON else key_or_text


AID = aid()
BEFORE_YOU_START = before_you_start()
