"""What to order in which pack."""

import math
from collections.abc import Sequence

from greaseroute.plan.week import Pack

G_PER_KG = 1000
LARGEST_KG = 200.0
"""Packs run from 0.4 to 180 kg (European pack standard, Lube Report 3_103)."""


def pack_word(size_kg: float) -> str:
    """Cartridge to 0.6 kg, tin, pail to 25, keg to 70, drum above; common practice, no source."""
    for limit, word in ((0.6, "cartridge"), (2.0, "tin"), (25.0, "pail"), (70.0, "keg")):
        if size_kg <= limit:
            return word
    return "drum"


def _fewest(steps: int, sizes: Sequence[int]) -> list[int]:
    """Counts per size that give at least ``steps``: least surplus first, then fewest packs.

    All in one step, such as grams.
    """
    top = steps + max(sizes)
    packs = [0] + [top + 1] * top
    last = [-1] * (top + 1)
    for total in range(1, top + 1):
        for k, size in enumerate(sizes):
            if size <= total and packs[total - size] + 1 < packs[total]:
                packs[total], last[total] = packs[total - size] + 1, k
    total = next(t for t in range(steps, top + 1) if packs[t] <= top)
    counts = [0] * len(sizes)
    while total > 0:
        counts[last[total]] += 1
        total -= sizes[last[total]]
    return counts


def packs_for(need_kg: float, sizes_kg: Sequence[float]) -> tuple[Pack, ...]:
    """Packs that hold ``need_kg``: least surplus, then fewest packs; largest first.

    Sizes are taken to the gram. A need beyond 200 kg is filled with the largest pack first.
    """
    if need_kg <= 0:
        return ()
    sizes = sorted(set(sizes_kg), reverse=True)
    bulk = max(0, math.floor((need_kg - LARGEST_KG) / sizes[0]))
    grams = [max(1, round(size * G_PER_KG)) for size in sizes]
    step = math.gcd(*grams)
    steps = math.ceil(((need_kg - bulk * sizes[0]) * G_PER_KG - 1e-6) / step)
    counts = _fewest(steps, [size // step for size in grams])
    counts[0] += bulk
    return tuple(
        Pack(count=count, size_kg=size, word=pack_word(size))
        for count, size in zip(counts, sizes, strict=True)
        if count
    )
