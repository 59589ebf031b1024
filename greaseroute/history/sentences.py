"""Events as sentences for people."""

from collections.abc import Callable, Sequence
from typing import Final

from greaseroute.ledger.events import Greased, Happened
from greaseroute.plan.words import count

MOST_JOINTS: Final = 3


def _place(event: Happened) -> str:
    """``bucket pin, left``; the machine as a whole where no joint is told."""
    names = [getattr(event, name, None) for name in ("joint", "fitting")]
    return ", ".join(name for name in names if name) or "machine"


def _words(event: Happened) -> str:
    return f" ({event.words})" if event.words else ""


_TEXTS: Final[dict[str, Callable[..., str]]] = {
    "could_not": lambda e: f"{e.check or _place(e)}: not done, {e.reason}{_words(e)}",
    "defect": lambda e: f"{_place(e)}: {e.defect}{_words(e)}",
    "uptake": lambda e: f"{_place(e)}: {e.uptake}{_words(e)}",
    "repaired": lambda e: f"{_place(e)}: repaired{_words(e)}",
    "check": lambda e: f"checked {e.check}: {'good' if e.good else 'not good'}{_words(e)}",
    "meter_read": lambda e: f"meter read {e.meter_h:g} h",
    "meter_replaced": lambda e: f"meter replaced{_old(e)}, the new one at {e.new_h:g} h",
    "moved": lambda e: f"moved{_words(e)}",
    "arrived": lambda e: f"arrived on the site{_words(e)}",
    "left": lambda e: f"left the site{_words(e)}",
    "away": lambda e: f"away until {e.until:%Y-%m-%d %H:%M}{_words(e)}",
    "cartridge_fitted": lambda e: f"{count(e.cartridges, 'cartridge')} of {e.grease} fitted",
}


def _old(event: Happened) -> str:
    old_h = getattr(event, "old_h", None)
    return "" if old_h is None else f" at {old_h:g} h"


def sentence_of(events: Sequence[Happened]) -> str:
    """What happened, in one sentence; several services of one visit together."""
    first = events[0]
    if isinstance(first, Greased):
        return _greased([e for e in events if isinstance(e, Greased)])
    kind = str(getattr(first, "kind", ""))
    text = _TEXTS.get(kind)
    return kind.replace("_", " ") if text is None else text(first)


def _greased(events: Sequence[Greased]) -> str:
    joints = list(dict.fromkeys(event.joint for event in events))
    named = ", ".join(joints) if len(joints) <= MOST_JOINTS else count(len(joints), "joint")
    strokes = [event.strokes for event in events if event.strokes is not None]
    if not strokes:
        return f"greased {named}"
    fittings = count(len(events), "fitting")
    return f"greased {named}: {fittings}, {sum(strokes)} strokes"
