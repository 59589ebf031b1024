"""Figures and times in the words a technician reads."""

from collections.abc import Iterable
from datetime import datetime

from greaseroute.plan.round import Bound
from greaseroute.texts.language import ENGLISH, Language
from greaseroute.units import S_PER_MIN

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)
# How the body is held at each height band, told to the person who has to do it.
BANDS = {
    "kneel": "kneeling",
    "stoop": "stooping",
    "stand": "standing",
    "overhead": "reaching up",
}
NOTHING_PROVED_PCT = 0.05  # below this the gap prints as 0.0 %, which reads as "proved best"


def clock(iso: str) -> str:
    """``HH:MM`` of an ISO 8601 moment, in the offset it carries."""
    return datetime.fromisoformat(iso).strftime("%H:%M")


def day(iso: str) -> str:
    """Such as ``Monday 2 March 2026``, the same on every machine whatever its language."""
    moment = datetime.fromisoformat(iso)
    return f"{WEEKDAYS[moment.weekday()]} {moment.day} {MONTHS[moment.month - 1]} {moment.year}"


def minutes(time_s: float) -> str:
    """Minutes with one decimal, such as ``38.9 min``."""
    return f"{time_s / S_PER_MIN:.1f} min"


def count(number: int, noun: str) -> str:
    """``1 joint``, ``2 joints``."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def listed(words: Iterable[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    items = list(words)
    if len(items) < 2:
        return "".join(items)
    return ", ".join(items[:-1]) + " and " + items[-1]


def band_words(band: str) -> str:
    """How the body is held at a height band."""
    return BANDS.get(band, band)


def certificate(bound: Bound, say: Language = ENGLISH) -> str:
    """What is proved about the walk, in plain words.

    The share that could be saved is the plan's own ``gap_pct``, which is taken over the part that
    the route decides: of all who take part, without idle time.
    """
    if bound.gap_pct is None or bound.lower_s <= 0:
        return say("proof.unknown")
    taken = say.minutes(bound.value_s)
    if bound.gap_pct < NOTHING_PROVED_PCT and bound.idle_s > 0:
        return say("proof.no_plan_sooner")
    if bound.gap_pct < NOTHING_PROVED_PCT:
        return say("proof.no_walk_less", taken=taken)
    return say("proof.at_most", gap_pct=bound.gap_pct, taken=taken)
