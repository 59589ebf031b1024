"""What the card's script has to know of every stop before it makes the part of the page for it."""

from collections.abc import Iterable
from typing import Any

from greaseroute.cards.card_model import PostureBlock, StandBlock, StopBlock, WalkBlock
from greaseroute.cards.legs import Mind

# Ends of words that say what something on the way is, in the languages that a site may be named in.
SAYS_IT = {"crossing": ("crossing", "übergang"), "gate": ("gate", "tor")}


def stops_data(walks: Iterable[WalkBlock]) -> list[dict[str, Any]]:
    """Walk by walk whose it is, where it ends, and its stops in order, as plain JSON values."""
    return [
        {
            "technician": walk.technician.name,
            "finish": walk.technician.finish_place,
            "stops": [_stop(stop) for stop in walk.stops],
        }
        for walk in walks
    ]


def minded(item: Mind) -> tuple[str, dict[str, str]]:
    """The key and the values of the words for something on the way.

    A name that says what it is (``crossing at the face``) has no word for that before it.
    """
    words = item.name.casefold().split()
    itself = any(word.endswith(SAYS_IT.get(item.what, ())) for word in words)
    what = "mind_named" if itself else f"mind_{item.what}"
    if item.what == "crossing" and item.wait_s:
        return f"{what}_wait", {"name": item.name, "s": f"{item.wait_s:.0f}"}
    if item.what in ("crossing", "gate"):
        return what, {"name": item.name}
    return "mind_slow", {"name": item.name or item.kind}


def _stop(stop: StopBlock) -> dict[str, Any]:
    """Lengths in m, bearing in degrees; phases are the way to the unit, then its stands."""
    first = {"letter": "", "steps": 0, "again": False, "rows": ""}
    return {
        "label": stop.label,
        "unit": stop.unit,
        "title": stop.title,
        "store": stop.reload,
        "arrive": stop.arrive_iso,
        "leave": stop.leave_iso,
        "m": f"{stop.leg.length_m:.0f}",
        "way": stop.leg.direction if stop.leg.length_m else "",
        "bearing": f"{stop.leg.bearing_deg:.0f}",
        "mind": [minded(item) for item in stop.leg.mind],
        "isolation": 0 if stop.moved_first else len(stop.isolation),
        "moved_first": stop.moved_first,
        "phases": [first, *(_stand(stand) for stand in _stands(stop.postures))],
    }


def _stands(postures: Iterable[PostureBlock]) -> Iterable[StandBlock]:
    return (stand for block in postures for stand in block.stands)


def _stand(stand: StandBlock) -> dict[str, Any]:
    """``steps`` are those of a call; ``rows`` has an f for each fitting, a c for each check."""
    return {
        "letter": stand.letter,
        "steps": len(stand.before) if stand.call else 0,
        "again": stand.isolate_again,
        "rows": "f" * len(stand.pumps) + "c" * len(stand.looks),
    }
