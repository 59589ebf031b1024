"""Generalised travelling salesman instances with known optima.

Data: TSPLIB (G. Reinelt, "TSPLIB - a traveling salesman problem library", 1991): burma14, ulysses16
(geographic), berlin52 (Euclidean), br17 (asymmetric matrix). Clusters by the rule of Fischetti,
Salazar Gonzalez and Toth (1997): ceil(n / 5) centres, the first farthest from node 1, each next
farthest from those chosen, every node to its nearest centre. Optima 1805, 4539, 31 and 4040 by
brute force or proof for these clusters (the GTSP Instances Library's names 3burma14, 4ulysses16,
4br17, 11berlin52); the plain tours' optima 3323, 6859 and 7542 are TSPLIB's.
"""

import math

import numpy as np
import pytest

from greaseroute.solvers.gtsp.solve import solve_clusters
from tests.bench.clusters_made import farthest_first

BURMA14 = (
    "16.47,96.1 16.47,94.44 20.09,92.54 22.39,93.37 25.23,97.24 22,96.05 20.47,97.02 17.2,96.29 "
    "16.3,97.38 14.05,98.12 16.53,97.38 21.52,95.59 19.41,97.13 20.09,94.55"
)
ULYSSES16 = (
    "38.24,20.42 39.57,26.15 40.56,25.32 36.26,23.12 33.48,10.54 37.56,12.19 38.42,13.11 "
    "37.52,20.44 41.23,9.1 41.17,13.05 36.08,-5.21 38.47,15.13 38.15,15.35 37.51,15.17 "
    "35.49,14.32 39.36,19.56"
)
BERLIN52 = (
    "565,575 25,185 345,750 945,685 845,655 880,660 25,230 525,1000 580,1175 650,1130 1605,620 "
    "1220,580 1465,200 1530,5 845,680 725,370 145,665 415,635 510,875 560,365 300,465 520,585 "
    "480,415 835,625 975,580 1215,245 1320,315 1250,400 660,180 410,250 420,555 575,665 1150,1160 "
    "700,580 685,595 685,610 770,610 795,645 720,635 760,650 475,960 95,260 875,920 700,500 "
    "555,815 830,485 1170,65 830,610 605,625 595,360 1340,725 1740,245"
)
BR17_ROWS = {  # row number -> costs; rows that repeat another are in BR17_SAME
    1: "0 3 5 48 48 8 8 5 5 3 3 0 3 5 8 8 5",
    2: "3 0 3 48 48 8 8 5 5 0 0 3 0 3 8 8 5",
    3: "5 3 0 72 72 48 48 24 24 3 3 5 3 0 48 48 24",
    4: "48 48 74 0 0 6 6 12 12 48 48 48 48 74 6 6 12",
    6: "8 8 50 6 6 0 0 8 8 8 8 8 8 50 0 0 8",
    8: "5 5 26 12 12 8 8 0 0 5 5 5 5 26 8 8 0",
    10: "3 0 3 48 48 8 8 5 5 0 0 3 0 3 8 8 5",
}
BR17_SAME = {5: 4, 7: 6, 9: 8, 11: 10, 12: 1, 13: 10, 14: 3, 15: 6, 16: 6, 17: 8}


def _points(text):
    return [tuple(float(x) for x in pair.split(",")) for pair in text.split()]


def _geographic(text):
    """TSPLIB GEO: degrees are cut off, not rounded, the rest are minutes; radius 6378.388 km."""

    def radians(value):
        degrees = int(value)
        return 3.141592 * (degrees + 5.0 * (value - degrees) / 3.0) / 180.0

    spots = [(radians(x), radians(y)) for x, y in _points(text)]

    def distance(a, b):
        q1, q2, q3 = math.cos(a[1] - b[1]), math.cos(a[0] - b[0]), math.cos(a[0] + b[0])
        return int(6378.388 * math.acos(0.5 * ((1 + q1) * q2 - (1 - q1) * q3)) + 1)

    return np.array([[0 if a == b else distance(a, b) for b in spots] for a in spots])


def _euclidean(text):
    spots = np.array(_points(text))
    return (np.hypot(*(spots[:, None] - spots[None]).transpose(2, 0, 1)) + 0.5).astype(int)


def _br17():
    rows = [BR17_ROWS[BR17_SAME.get(i, i)] for i in range(1, 18)]
    return np.array([[int(x) for x in row.split()] for row in rows])


def _parts(text):
    return [[int(x) - 1 for x in part.split()] for part in text.split(";")]


CASES = {
    "3burma14": (_geographic(BURMA14), "5; 1 8 9 10 11; 2 3 4 6 7 12 13 14", 1805),
    "4ulysses16": (_geographic(ULYSSES16), "11; 1 2 3 4 8 16; 5 14 15; 6 7 9 10 12 13", 4539),
    "4br17": (_br17(), "4 5; 1 2 3 10 11 12 13 14; 8 9 17; 6 7 15 16", 31),
}


@pytest.mark.parametrize("name", CASES)
def test_published_clusters(name):
    cost, parts, optimum = CASES[name]
    tour = solve_clusters(cost, _parts(parts), iterations=2000)
    assert (tour.cost, tour.lower_bound, tour.status) == (optimum, optimum, "optimal")


@pytest.mark.parametrize("name", CASES)
def test_published_clusters_by_search_and_bound(name, monkeypatch):
    cost, parts, optimum = CASES[name]
    tour = solve_clusters(cost, _parts(parts), iterations=1000)
    assert (tour.cost, tour.lower_bound) == (optimum, optimum)


def test_the_rule_gives_the_published_clusters():
    for name in ("3burma14", "4ulysses16"):
        cost, parts, _ = CASES[name]
        made = farthest_first(cost, -(-len(cost) // 5))
        assert sorted(made) == sorted(_parts(parts))


def test_berlin52_in_11_clusters():
    cost = _euclidean(BERLIN52)
    tour = solve_clusters(cost, farthest_first(cost, 11), iterations=2000)
    assert (tour.cost, tour.lower_bound, tour.status) == (4040, 4040, "optimal")


@pytest.mark.parametrize(
    ("cost", "optimum"),
    [(_geographic(BURMA14), 3323), (_geographic(ULYSSES16), 6859), (_euclidean(BERLIN52), 7542)],
)
def test_clusters_of_one_node_are_the_plain_tour(cost, optimum):
    tour = solve_clusters(cost, [[i] for i in range(len(cost))], iterations=5000)
    assert (tour.cost, tour.lower_bound, tour.status) == (optimum, optimum, "optimal")


def test_the_published_tour_of_burma14_has_its_published_length():
    tour = [x - 1 for x in (1, 2, 14, 3, 4, 5, 6, 12, 7, 13, 8, 11, 9, 10)]
    cost = _geographic(BURMA14)
    assert sum(cost[a, b] for a, b in zip(tour, tour[1:] + tour[:1], strict=True)) == 3323
