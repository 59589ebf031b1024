"""Which of many candidate places are worth keeping."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from greaseroute.stands.reach import Array, Mask

# A place is needless where another this near serves the same and more: it could only save the
# walk between the two.
NEAR_M = 1.5
# Among places that serve the same fittings, keep some so that none is further than this from a
# kept one; doubled step by step until at most MOST_STANDS are left.
APART_M = 0.6
MOST_STANDS = 20
# Lengths closer than this are equal: rounding must not decide how a turned site comes out.
TIE_M = 1e-6


def keep(places: Array, table: Mask, *, far_m: Array, most: int = MOST_STANDS) -> list[int]:
    """Row numbers of the places to keep, ascending.

    Parameters
    ----------
    places : (n, 3) array
        In an order that does not hang on how the site lies (ties go to the first).
    table : (n, m) bool array
        What each place serves.
    far_m : (n, m) array
        Horizontal distance from each place to each fitting: the nearest place is always kept.
    """
    groups = _not_outdone(places, _alike(table))
    effort = np.where(table, far_m, 0.0).sum(axis=1)
    spread = [_spread(places, rows, effort=effort) for rows in groups.values()]
    apart = APART_M
    while True:
        kept = sorted(row for each in spread for row, gap_m in each if gap_m > apart + TIE_M)
        if len(kept) <= most or apart > 64 * APART_M:
            return _fewest_more(table, kept, most=most)
        apart *= 1.5


def _not_outdone(places: Array, groups: Mapping[int, list[int]]) -> dict[int, list[int]]:
    """Of places grouped by what they serve, those that no near one outdoes (serves more)."""
    left = {}
    for own, rows in groups.items():
        more = [other for other in groups if other != own and own & other == own]
        better = [row for other in more for row in groups[other]]
        left[own] = _far_from(places, rows, better)
    return {own: rows for own, rows in left.items() if rows}


def _alike(table: Mask) -> dict[int, list[int]]:
    """Rows that serve the same, together, by what they serve as bits; rows of nothing left out."""
    packed = np.packbits(table, axis=1)
    groups: dict[int, list[int]] = {}
    for row, bits in enumerate(packed):
        groups.setdefault(int.from_bytes(bits.tobytes(), "big"), []).append(row)
    groups.pop(0, None)
    return groups


def _far_from(places: Array, rows: list[int], better: list[int]) -> list[int]:
    """Those of ``rows`` with none of ``better`` near."""
    if not better:
        return rows
    gap = np.linalg.norm(places[rows][:, None, :] - places[better][None, :, :], axis=2)
    return [row for row, near in zip(rows, gap.min(axis=1), strict=True) if near > NEAR_M + TIE_M]


def _spread(places: Array, group: Sequence[int], *, effort: Array) -> list[tuple[int, float]]:
    """The place nearest to the work, then always the one farthest from those before.

    With each how far it is from those before it (the first counts as infinitely far), down to
    ``APART_M``.
    """
    spots = places[list(group)]
    best = _first_most(-effort[list(group)])
    chosen = [(group[best], np.inf)]
    gap = np.linalg.norm(spots - spots[best], axis=1)
    while (widest := gap.max()) > APART_M + TIE_M:
        best = _first_most(gap)
        chosen.append((group[best], float(widest)))
        gap = np.minimum(gap, np.linalg.norm(spots - spots[best], axis=1))
    return chosen


def _first_most(values: NDArray[np.float64]) -> int:
    """Index of the largest value; of values equal to a micrometre the first."""
    return int(np.nonzero(values >= values.max() - TIE_M)[0][0])


def _fewest_more(table: Mask, kept: list[int], *, most: int) -> list[int]:
    """A cover of everything first, then the others in order, up to ``most``."""
    if len(kept) <= most:
        return kept
    cover = greedy_cover(table[kept])
    rest = [i for i in range(len(kept)) if i not in cover]
    return sorted(kept[i] for i in [*cover, *rest][: max(most, len(cover))])


def greedy_cover(table: Mask) -> list[int]:
    """Rows that together serve all that any row serves; each takes the most of what is left."""
    left = table.any(axis=0)
    chosen: list[int] = []
    while left.any():
        gain = (table & left).sum(axis=1)
        best = int(gain.argmax())
        chosen.append(best)
        left &= ~table[best]
    return chosen
