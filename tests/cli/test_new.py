"""A first site out of the box: made, checked, planned; and the demo sites."""

import json
from pathlib import Path

import pytest

from greaseroute.cli.main import entry
from greaseroute.cli.new import demos
from greaseroute.site.folder import read_folder

ROOT = Path(__file__).parents[2]


def test_a_new_site_is_good_and_nothing_about_it_is_strange(tmp_path, capsys):
    folder = tmp_path / "deep" / "my"
    assert entry(["new", str(folder)]) == 0
    assert f"greaseroute check {folder}" in capsys.readouterr().out
    reading = read_folder(folder)
    assert (reading.faults, reading.remarks) == ((), ())
    site = reading.site
    assert (len(site.units), len(site.greases), len(site.technicians)) == (3, 2, 1)
    assert sorted(p.name for p in folder.parent.iterdir()) == ["my"]


def test_each_file_begins_with_what_its_columns_or_fields_mean(tmp_path):
    entry(["new", str(tmp_path / "my")])
    for path in (tmp_path / "my").iterdir():
        text = path.read_text(encoding="utf-8")
        assert text.startswith("#") or '"comment"' in text[:80], path.name
        if path.suffix == ".csv":
            rows = [line for line in text.splitlines() if not line.startswith("#")]
            for column in rows[0].split(","):
                assert f"# {column}" in text or f" and {column}:" in text, column


def test_it_plans_at_once(tmp_path, capsys):
    folder, out = tmp_path / "my", tmp_path / "out"
    assert entry(["new", str(folder)]) == 0
    assert entry(["check", str(folder)]) == 0
    assert entry(["round", str(folder), "--out", str(out), "--at", "2026-03-03T05:00"]) == 0
    plan = json.loads((out / "round.json").read_text(encoding="utf-8"))
    assert plan["left"] == []
    assert {stop["unit"] for stop in plan["technicians"][0]["stops"]} == {"EX-1", "WL-1", "AD-1"}


@pytest.mark.parametrize(
    "name", ["quarry", "harbour", "rental", "three_machines", "quarry_ruttersby"]
)
def test_a_demo_is_the_one_of_the_repository(tmp_path, name):
    assert entry(["new", str(tmp_path / "x"), "--demo", name]) == 0
    (source,) = [p for p in (ROOT / "sites_demo").iterdir() if p.name.startswith(name)]
    files = {p.relative_to(source): p.read_bytes() for p in source.rglob("*") if p.is_file()}
    made = {p.relative_to(tmp_path / "x"): p.read_bytes()
            for p in (tmp_path / "x").rglob("*") if p.is_file()}  # fmt: skip
    assert made == {path: text for path, text in files.items() if path.suffix != ".sqlite"}


def test_every_demo_comes_along():
    assert set(demos()) == {p.name for p in (ROOT / "sites_demo").iterdir() if p.is_dir()}


def test_a_folder_with_files_is_left_alone(tmp_path, capsys):
    (tmp_path / "mine.txt").write_text("x")
    assert entry(["new", str(tmp_path)]) == 2
    assert "holds files already; allowed: a new or empty folder" in capsys.readouterr().err
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]
    assert entry(["new", str(tmp_path / "mine.txt")]) == 2
    assert "a file; allowed: a new or empty folder" in capsys.readouterr().err


def test_an_empty_folder_is_taken(tmp_path):
    (tmp_path / "empty").mkdir()
    assert entry(["new", str(tmp_path / "empty")]) == 0
    assert (tmp_path / "empty" / "site.toml").is_file()


def test_a_demo_that_is_none(tmp_path, capsys):
    assert entry(["new", str(tmp_path / "x"), "--demo", "moon"]) == 2
    assert "--demo: moon; allowed: harbour_skarnholm, quarry" in capsys.readouterr().err
    assert not (tmp_path / "x").exists()
