"""What a Python program calls: the names, their signatures, what they give, the examples."""

import doctest
import importlib
import inspect
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import greaseroute as gr
from greaseroute.errors import BadInput, UnknownName
from greaseroute.plan.round import RoundPlan

ROOT = Path(__file__).parents[2]
YARD = ROOT / "sites_demo" / "three_machines"

SIGNATURES = {
    "due": "(site, at=None)",
    "plan_first_day": "(site, at=None, *, learner=None, mentor=None, seed=1, cores=None)",
    "plan_round": "(site, at=None, *, seed=1, cores=None)",
    "plan_week": "(site, at=None, *, mornings=7, seed=1, cores=None)",
    "read_plan": "(path, site=None)",
    "read_site": "(path)",
    "record_writer": "(site, *, now=None)",
}


@pytest.fixture(scope="module")
def site():
    return gr.read_site(YARD)


@pytest.fixture(scope="module")
def plan(site):
    return gr.plan_round(site)


def _names_and_defaults(function):
    signature = inspect.signature(function)
    bare = [p.replace(annotation=inspect.Parameter.empty) for p in signature.parameters.values()]
    return str(inspect.Signature(bare))


def test_the_names_are_the_promise():
    assert set(gr.__all__) == {
        *SIGNATURES,
        *("CrewProblem", "FreeGround", "solve_clusters", "solve_crew"),
    }
    for name, signature in SIGNATURES.items():
        assert _names_and_defaults(getattr(gr, name)) == signature
    with pytest.raises(AttributeError, match="has no attribute 'plan_rond'"):
        _ = gr.plan_rond


def test_the_stub_names_what_is_handed_on():
    stub = (ROOT / "greaseroute" / "__init__.pyi").read_text(encoding="utf-8")
    assert {line.rsplit(" as ", 1)[1] for line in stub.splitlines() if " as " in line} == set(
        gr.__all__
    )


def test_the_import_alone_is_cheap():
    program = (
        "import time; t = time.perf_counter(); import greaseroute, sys; "
        "print(time.perf_counter() - t, 'numpy' in sys.modules)"
    )
    runs = [
        subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, cwd=ROOT)
        for _ in range(3)
    ]
    seconds, heavy = min(run.stdout.split() for run in runs)
    assert float(seconds) < 0.05
    assert heavy == "False"


@pytest.mark.parametrize("module", ["greaseroute", "greaseroute.door.open_site",
                                    "greaseroute.door.round"])  # fmt: skip
def test_the_examples_are_true(module, monkeypatch):
    monkeypatch.chdir(ROOT)
    result = doctest.testmod(importlib.import_module(module))
    assert result.attempted > 0
    assert result.failed == 0


def test_a_plan_is_one_readable_line(plan):
    assert repr(plan) == (
        "<round at 'Three machines', 2026-03-03 05:00: 6 fittings, 50 m, done 05:10, "
        "at most 0.0 % to save>"
    )
    assert "\n" not in repr(plan)


def test_cores_do_not_change_the_plan(site, plan):
    assert gr.plan_round(site, cores=1).plan == plan.plan


def test_a_notebook_shows_map_and_figures(plan):
    shown = plan._repr_html_()
    assert shown.count("<svg") == 1
    assert "Cartridges to carry" in shown


def test_save_writes_what_is_asked_for(plan, tmp_path):
    paths = plan.save(tmp_path / "out", formats=["json", "csv"])
    assert [p.name for p in paths] == ["round.json", "pumps.csv"]
    assert gr.read_plan(tmp_path / "out").plan == plan.plan
    assert RoundPlan.model_validate_json(paths[0].read_text(encoding="utf-8")) == plan.plan
    with pytest.raises(UnknownName, match="format: 'gpx'; allowed: json, html, "):
        plan.save(tmp_path / "two", formats=["gpx"])
    assert not (tmp_path / "two").exists()


def test_a_week_and_a_first_day_are_saved_with_their_sheets(site, tmp_path):
    pytest.importorskip("typst")
    for plan, name in (
        (gr.plan_week(site, mornings=1), "week"),
        (gr.plan_first_day(site), "first_day"),
    ):
        paths = plan.save(tmp_path)
        assert [p.name for p in paths] == [f"{name}.json", f"{name}.html", f"{name}.pdf"]
        assert paths[-1].read_bytes().startswith(b"%PDF-")


def test_a_plan_without_its_site_says_what_is_missing(plan, tmp_path):
    plan.save(tmp_path, formats=["json"])
    alone = gr.read_plan(tmp_path / "round.json")
    assert "<svg" not in alone._repr_html_()
    with pytest.raises(UnknownName, match="read it with read_plan"):
        alone.save(tmp_path / "out")


def test_tables(site, plan):
    pd = pytest.importorskip("pandas")
    pumps, stops, owed = (
        plan.to_frame("pumps"),
        plan.to_frame("stops"),
        gr.due(site).to_frame(),
    )
    assert isinstance(pumps, pd.DataFrame)
    assert pumps["strokes"].sum() == stops["strokes"].sum() == 24
    assert len(pumps) == stops["fittings"].sum() == 6
    assert owed["due"].sum() == len(gr.due(site).due)
    with pytest.raises(UnknownName, match="table: 'walks'; allowed: pumps, stops"):
        plan.to_frame("walks")


def test_the_geo_interface_is_geojson(plan):
    collection = plan.__geo_interface__
    assert collection["type"] == "FeatureCollection"
    assert json.loads(json.dumps(collection)) == collection
    roles = [feature["properties"]["role"] for feature in collection["features"]]
    assert roles.count("walk") == 1
    assert roles.count("stop") == 3


def test_a_fault_of_the_folder_is_told_with_its_line(tmp_path):
    with pytest.raises(BadInput, match="3 faults") as error:
        gr.read_site(tmp_path)
    assert "fleet.csv:1" in str(error.value.faults[0])


def test_doors_of_the_benchmarks_are_the_public_ones():
    from greaseroute.rounds.clusters import solve_clusters
    from greaseroute.rounds.crew import solve_crew
    from greaseroute.rounds.problem import NO_LIMIT_MS, CrewProblem

    assert (solve_clusters, solve_crew, CrewProblem) == (
        gr.solve_clusters,
        gr.solve_crew,
        gr.CrewProblem,
    )
    assert NO_LIMIT_MS == 2**50
    cost = np.array([[0, 5, 9], [5, 0, 7], [9, 7, 0]])
    tour = gr.solve_clusters(cost, [[0], [1], [2]], limit_s=1.0, seed=1)
    assert (tour.cost, tour.lower_bound) == (21, 21)


def test_the_record_of_a_site_counts(tmp_path):
    import shutil

    from greaseroute.cli.main import entry

    folder = tmp_path / "yard"
    shutil.copytree(YARD, folder)
    assert len(gr.due(gr.read_site(folder)).due) == 5
    told = ["--event", "greased", "unit=RB-1", "joint=crank bearing", "at=2026-03-03T04:00"]
    assert entry(["record", str(folder), *told, "--at", "2026-03-03T04:30"]) == 0
    site = gr.read_site(folder)
    assert len(gr.due(site, "2026-03-03T05:00").due) == 4
    plan = gr.plan_round(site, "2026-03-03T05:00")
    assert "RB-1" not in {stop.unit for stop in plan.technicians[0].stops}
