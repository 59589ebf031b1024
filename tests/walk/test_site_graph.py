"""The ground as a graph, on yards whose openings can be counted by hand."""

from dataclasses import replace
from pathlib import Path

import pytest
from shapely.geometry import LineString, box

from greaseroute.site.folder import read_site
from greaseroute.site.ground_plan import Area, Barrier, Gate
from greaseroute.walk.site_graph import only_ways, site_graph
from tests.rounds.yards import unit, yard

DEMOS = Path(__file__).parents[2] / "sites_demo"
LOADER = "wheel-loader-20t"


def fenced(*gates):
    """A loader on either side of a fence along x = 60 with gates 3 m wide at these y."""
    site = yard([unit(1, LOADER, 30, 30), unit(2, LOADER, 100, 60)])
    fence = Barrier("fence", LineString([(60, -50), (60, 500)]))
    openings = tuple(Gate(f"gate {y}", LineString([(60, y), (60, y + 3)])) for y in gates)
    return replace(site, ground=replace(site.ground, barriers=(fence,), gates=openings))


def test_one_gate_is_the_only_way():
    site = fenced(40)
    graph = site_graph(site)
    assert [kind for kind, _ in graph].count("ground") == 2
    assert graph.degree(("gate", "gate 40")) == 2
    (way,) = only_ways(site, graph)
    assert str(way) in (
        "if the gate 40 is shut, U-2 is cut off",
        "if the gate 40 is shut, U-1 is cut off",
    )


def test_of_two_gates_neither_is_the_only_way():
    assert only_ways(fenced(40, 80)) == ()


def test_a_crossing_is_an_opening_whatever_its_hours():
    site = yard([unit(1, LOADER, 30, 30), unit(2, LOADER, 100, 60)])
    road = Area("road", "haul_road", box(60, -50, 70, 500))
    crossing = Area("crossing", "crossing", box(59, 40, 71, 44), wait_s=10)
    site = replace(site, ground=replace(site.ground, haul_roads=(road,), crossings=(crossing,)))
    (way,) = only_ways(site)
    assert (way.opening, way.kind) == ("crossing", "crossing")
    assert len(way.units) == 1


@pytest.mark.parametrize(
    ("name", "lines"),
    [
        ("harbour_skarnholm", ["if the gangway is shut, MH-2 is cut off"]),
        ("quarry_ruttersby", []),
        ("three_machines", []),
    ],
)
def test_demo_sites(name, lines):
    assert [str(way) for way in only_ways(read_site(DEMOS / name))] == lines
