"""Compiled: before which fittings cartridges are put in.

A cartridge that cannot finish the next fitting is changed before it, and what is left in it is not
used; a fitting that takes more than a cartridge holds puts in as many as it needs. What has
happened up to a stop is told by the cartridges put in and the strokes left in each gun. Of two such
states of a gun the one with fewer cartridges put in, or as many and more strokes left, stays the
better one whatever is pumped next, and it never gains more than one cartridge on the other.
"""

# Argument lists stay in rows: one argument a line would hide the code.
# fmt: off

from greaseroute.solvers.arrays import IntArray
from greaseroute.solvers.compiled import inner_njit
from greaseroute.solvers.vrp.layout import (
    END_RUN,
    FIRST_RUN,
    GUNS,
    PER_GUN,
    RUN_COUNT,
    RUN_GUN,
    RUN_STROKES,
    SIZE,
)


@inner_njit
def pump(
    way: IntArray, run: IntArray, crew: IntArray, t: int, w: int, left: IntArray, put_in: IntArray
) -> None:
    """Technician t pumps the fittings of way w.

    ``left`` and ``put_in`` (G,) are brought up to date; the tables are as in ``Instance``.
    """
    for r in range(way[FIRST_RUN, w], way[END_RUN, w]):
        gun, strokes, count = run[RUN_GUN, r], run[RUN_STROKES, r], run[RUN_COUNT, r]
        size, fit = crew[t, GUNS + PER_GUN * gun + SIZE], left[gun] // strokes
        if count <= fit:
            left[gun] -= count * strokes
            continue
        count -= fit
        if strokes <= size:
            each = size // strokes
            changes = (count + each - 1) // each
            put_in[gun] += changes
            left[gun] = size - (count - (changes - 1) * each) * strokes
        else:  # several cartridges for every single fitting
            changes = (strokes + size - 1) // size
            put_in[gun] += changes * count
            left[gun] = changes * size - strokes
