"""The cautions every card carries, each with what it rests on.

They defer to the machine maker's manual, the site's rules and local law. Sources were read in
excerpts; those marked "from memory" were not, and "common practice" has no source.
"""

from collections.abc import Iterable
from dataclasses import dataclass

AID = (
    "This plan is an aid. Follow the machine maker's manual, your site rules and local law; "
    "a competent person decides."
)


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: ``key`` is its short name on the card, ``rests_on`` its source."""

    key: str
    text: str
    rests_on: str


BEFORE_YOU_START = (
    Caution(
        "STOP",
        "Stop the engine, lower every implement to the ground, set the brake and take the key "
        "before you put a hand to a fitting.",
        "30 CFR 56.14105",
    ),
    Caution(
        "BLOCK",
        "Blades, buckets and bodies go fully down or are blocked; controls in neutral.",
        "29 CFR 1926.600(a)(3)(i); Cal. Title 8 section 1595",
    ),
    Caution(
        "LOTO",
        "Isolate, lock, tag, let stored hydraulic pressure off, then try to start it.",
        "ISO 14118 (from memory); 29 CFR 1910.147, which leaves construction out",
    ),
    Caution(
        "NOMOVE",
        "Never grease by hand while the machine or the part moves.",
        "Minn. Rules 5207.0730; MSHA Program Policy Manual vol. V",
    ),
    Caution(
        "ARM",
        "Go under a raised lift arm only with its arm support fitted.",
        "ISO 10533:1993",
    ),
    Caution(
        "ARTIC",
        "Go between the halves of an articulated machine only with the frame lock on.",
        "ISO 20474-1:2017, 4.14.5",
    ),
    Caution(
        "PINCH",
        "Keep hands out of pin joints and linkages; nobody else moves a control.",
        "ISO 3457 (scope)",
    ),
    Caution(
        "INJECT",
        "Never hold or wipe a leaking coupler, hose or fitting with a hand: 7 bar (100 psi) can "
        "break skin and guns reach 138 to 827 bar. Any injection is a surgical emergency even if "
        'it does not hurt: go to hospital now and say "high-pressure injection".',
        "Verhoeven and Hierner 2008, doi 10.1007/s11751-008-0029-9",
    ),
    Caution(
        "NOPUMP",
        "If grease does not go in, stop: no more pressure, no blows; report it as blocked.",
        "common practice, no source",
    ),
    Caution(
        "TRACK",
        "The track-tension fitting looks like a grease fitting and is not one. Never pump it on a "
        "round; keep face and body out of its line.",
        "the same warning stands in the makers' manuals that were read",
    ),
    Caution(
        "CLIMB",
        "Three points of contact, face to the machine, nothing in the hands, only the steps "
        "provided, never jump.",
        "ISO 2867:2011",
    ),
    Caution(
        "HEIGHT",
        "A fitting above reach needs steps, a platform or a lowered implement; never stand on a "
        "wheel, track or bucket.",
        "ISO 2867:2011; local law on work at height",
    ),
    Caution(
        "TRAFFIC",
        "Walk the marked routes. Stay out of a working machine's swing and reversing area; tell "
        "the operator, meet eyes, wait.",
        "HSE HSG144, 2nd edition 2009",
    ),
    Caution(
        "VIS",
        "High-visibility clothing, helmet, safety boots, eye protection, gloves.",
        "ISO 20471 (from memory); site rules",
    ),
    Caution(
        "HOT",
        "Let hot parts cool. Wipe the fitting before and after.",
        "ISO 20474-1:2017, 4.14.2",
    ),
    Caution(
        "MIX",
        "Do not change the kind of grease without the supplier's word.",
        "ASTM D6185",
    ),
    Caution(
        "SPILL",
        "Pick up surplus grease and wipes; keep steps and walkways clean.",
        "common practice, no source",
    ),
    Caution(
        "ALONE",
        "Tell someone your route and time; the finish time of this plan is an estimate.",
        "common practice, no source",
    ),
)

# What belongs to some machines or places only is repeated at their stop; what holds at every stop
# stands once at the head of the card, for a warning read forty times is read no more.
OF_ONE_MACHINE = ("ARM", "ARTIC", "TRACK", "CLIMB", "HEIGHT", "HOT", "MIX")

_BY_KEY = {caution.key: caution for caution in BEFORE_YOU_START}


def own_cautions(texts: Iterable[str]) -> list[str]:
    """Those of a plan's cautions that are not in the standing list already."""
    standing = {caution.text for caution in BEFORE_YOU_START}
    return [text for text in texts if text not in _BY_KEY and text not in standing]


def stop_cautions(keys_or_texts: Iterable[str]) -> tuple[str, ...]:
    """Texts of the cautions that belong to this stop and not to every stop."""
    everywhere = _BY_KEY.keys() - set(OF_ONE_MACHINE)
    return tuple(dict.fromkeys(caution_text(c) for c in keys_or_texts if c not in everywhere))


def caution_text(key_or_text: str) -> str:
    """The text of a caution key such as ``ARTIC``; any other text stays as it is."""
    caution = _BY_KEY.get(key_or_text)
    return caution.text if caution else key_or_text
