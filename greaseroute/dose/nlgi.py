"""NLGI number from worked penetration."""

from greaseroute.records import Record

GRADES: tuple[tuple[str, int, int], ...] = (
    ("000", 445, 475),
    ("00", 400, 430),
    ("0", 355, 385),
    ("1", 310, 340),
    ("2", 265, 295),
    ("3", 220, 250),
    ("4", 175, 205),
    ("5", 130, 160),
    ("6", 85, 115),
)
"""Number, least and most 60-stroke worked penetration at 25 C in 0.1 mm (ASTM D217, ISO 2137)."""


class Consistency(Record):
    """``number`` is None for a value that no NLGI number covers; ``text`` says which case it is."""

    number: str | None
    text: str


def _between(penetration: float) -> str:
    softer = [name for name, low, _ in GRADES if penetration < low]
    harder = [name for name, _, high in GRADES if penetration > high]
    if not softer:
        return "softer than NLGI 000"
    if not harder:
        return "harder than NLGI 6"
    return f"between grades NLGI {softer[-1]} and {harder[0]}"


def nlgi_number(penetration_tenth_mm: float) -> Consistency:
    """NLGI number of a worked penetration in 0.1 mm.

    Every band is 30 wide and the next begins 15 further on; a value in such a gap is between
    grades, and no number is guessed for it.
    """
    for name, low, high in GRADES:
        if low <= penetration_tenth_mm <= high:
            return Consistency(number=name, text=f"NLGI {name}")
    return Consistency(number=None, text=_between(penetration_tenth_mm))
