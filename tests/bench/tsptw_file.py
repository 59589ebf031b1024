"""Reads travelling-salesman instances with time windows, as crew problems of one technician.

The layout is that of the collection of Lopez-Ibanez and Blum: the number of places (depot first),
the matrix of travel times with service in it, a row of earliest and latest start for each place.
"""

import csv
from fractions import Fraction
from pathlib import Path

import numpy as np

from greaseroute.solvers.vrp.problem import CrewProblem

DIGITS = 6  # after the point, at most: 1,000,000 ticks stand for one unit of the file
TICKS = 10**DIGITS


def read_tsptw(path: Path) -> CrewProblem:
    """One technician, one way a unit without work, times in ticks; leaves at the earliest time."""
    return parse_tsptw(path.read_text())


def parse_tsptw(text: str) -> CrewProblem:
    """The same from the text of such a file; what follows a ``#`` is not read."""
    lines = [line.split("#")[0].split() for line in text.splitlines()]
    words = [word for line in lines for word in line]
    n = int(words[0])
    ticks = np.array([in_ticks(w) for w in words[1 : 1 + n * n + 2 * n]], dtype=np.int64)
    travel, window = ticks[: n * n].reshape(n, n), ticks[n * n :].reshape(n, 2)
    np.fill_diagonal(travel, 0)
    one, none = np.zeros(1, dtype=np.int64), np.zeros((n - 1, 0), dtype=np.int64)
    place = np.arange(1, n)
    return CrewProblem(
        travel_ms=travel[None].copy(),
        length_mm=travel,
        way_unit=place - 1,
        way_enter=place,
        way_leave=place.copy(),
        way_ms=np.zeros((1, n - 1), dtype=np.int64),
        way_loss=np.zeros(n - 1, dtype=np.int64),
        way_strokes=none,
        skip_loss=np.full(n - 1, 1000, dtype=np.int64),
        window_ms=window[1:].copy(),
        start_point=one,
        finish_point=one,
        start_ms=window[0, :1].copy(),
        end_ms=window[0, 1:].copy(),
        store_points=np.zeros(0, dtype=np.int64),
        bag_cartridges=one,
        cartridge_strokes=np.zeros((1, 0), dtype=np.int64),
    )


def in_ticks(word: str) -> int:
    """A number of the file in ticks; raises ValueError if it has more digits than they tell."""
    value = Fraction(word) * TICKS
    if value.denominator != 1:
        raise ValueError(f"{word}: more than {DIGITS} digits after the point")
    return int(value)


def proven_makespans(path: Path) -> dict[tuple[str, str], int]:
    """Least times of return in ticks, by family and file name, where the table has one."""
    with path.open(newline="") as rows:
        return {
            (row["family"], row["file"]): in_ticks(row["best_makespan"])
            for row in csv.DictReader(rows)
            if row["best_makespan"]
        }
