"""``round --done-so-far``: the whole command on a small folder, its faults and its exit codes."""

import io
import json
from datetime import datetime
from pathlib import Path

import pytest

from greaseroute.cli.main import entry
from greaseroute.plan.round import RoundPlan
from tests.site_maker import write_random_site

SEED = 8  # four units for one technician, nothing left out


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return write_random_site(tmp_path_factory.mktemp("site"), SEED)


@pytest.fixture(scope="module")
def morning(folder, tmp_path_factory) -> Path:
    out = tmp_path_factory.mktemp("morning")
    assert entry(["round", str(folder), "--out", str(out)]) in (0, 1)
    return out / "round.json"


def plan_of(path: Path) -> RoundPlan:
    return RoundPlan.model_validate_json(path.read_text(encoding="utf-8"))


@pytest.fixture
def told(morning, tmp_path):
    """A file that says the first stop is done and its technician stands where it ended."""
    plan = plan_of(morning)
    walk = next(t for t in plan.technicians if len(t.stops) > 1)
    stop = walk.stops[0]
    last = stop.stands[-1]
    said = {
        "at": stop.leave,
        "places": {walk.name: [last.x_m, last.y_m]},
        "done_units": [stop.unit],
    }
    path = tmp_path / "now.json"
    path.write_text(json.dumps(said, indent=1), encoding="utf-8")
    return path


def test_what_is_done_is_read_from_standard_input_as_from_its_file(
    folder, morning, told, tmp_path, monkeypatch
):
    asked = ["round", str(folder), "--plan", str(morning), "--out"]
    assert entry([*asked, str(tmp_path / "a"), "--done-so-far", str(told)]) in (0, 1)
    piped = io.TextIOWrapper(io.BytesIO(told.read_bytes()))
    monkeypatch.setattr("sys.stdin", piped)
    assert entry([*asked, str(tmp_path / "b"), "--done-so-far", "-"]) in (0, 1)
    assert plan_of(tmp_path / "b" / "round.json") == plan_of(tmp_path / "a" / "round.json")


def test_the_rest_is_planned_and_says_that_it_is_one(folder, morning, told, tmp_path, capsys):
    out = tmp_path / "out"
    words = ["--done-so-far", str(told), "--plan", str(morning)]
    assert entry(["round", str(folder), "--out", str(out), *words]) in (0, 1)
    shown = " ".join(capsys.readouterr().out.split())
    assert "- This is the rest of the round that began at 05:00, planned at" in shown
    assert "- The order of the earlier plan is kept." in shown
    assert "Rest of the round from " in shown
    assert "Not proved" in shown
    before, after = plan_of(morning), plan_of(out / "round.json")
    done = json.loads(told.read_text(encoding="utf-8"))["done_units"]
    units = {s.unit for t in before.technicians for s in t.stops} - set(done)
    assert {s.unit for t in after.technicians for s in t.stops} == units
    assert datetime.fromisoformat(after.shift_start) == datetime.fromisoformat(before.shift_start)
    card = (out / "card.html").read_text(encoding="utf-8")
    assert "This is the rest of the round that began at 05:00" in card
    assert "Rest of the greasing round from" in card
    # A sentence for each technician, at the first stop of the walk that is left.
    for walk in after.technicians:
        first = card.split(f'data-technician="{walk.name}"')[1].split('class="leg"')[0]
        assert f"{walk.name}: nothing changes, the rest is as it was." in first


def test_a_unit_that_left_is_not_drawn(folder, morning, told, tmp_path):
    said = json.loads(told.read_text(encoding="utf-8"))
    gone = plan_of(morning).technicians[0].stops[-1].unit
    told.write_text(json.dumps({**said, "gone": [gone]}), encoding="utf-8")
    out = tmp_path / "out"
    entry(["round", str(folder), "--out", str(out), "--done-so-far", str(told)])
    drawn = (out / "map.svg").read_text(encoding="utf-8")
    assert f">{gone}<" not in drawn
    assert f">{gone}<" in (morning.parent / "map.svg").read_text(encoding="utf-8")


def test_the_moment_of_the_earlier_plan_is_that_of_the_round(folder, morning, told, tmp_path):
    # The folder plans for 05:00; a plan made for 05:30 ends with the same shift, owes no less.
    late = tmp_path / "late"
    entry(["round", str(folder), "--out", str(late), "--at", "2031-03-04T05:30"])
    said = {"at": "2031-03-04T05:45"}
    told.write_text(json.dumps(said), encoding="utf-8")
    out = tmp_path / "out"
    words = ["--done-so-far", str(told), "--plan", str(late / "round.json")]
    entry(["round", str(folder), "--out", str(out), *words])
    assert any("began at 05:30" in note for note in plan_of(out / "round.json").notes)


def test_faults_of_both_files_are_told_and_nothing_is_written(folder, morning, told, tmp_path):
    told.write_text('{\n"at": "2031-03-04T05:10",\n"gone": ["U-9"]\n}', encoding="utf-8")
    broken = tmp_path / "round.json"
    broken.write_text(morning.read_text(encoding="utf-8").replace("Board", "Yard", 1))
    out = tmp_path / "out"
    words = ["--done-so-far", str(told), "--plan", str(broken)]
    assert entry(["round", str(folder), "--out", str(out), *words]) == 2
    assert not out.exists()


def test_faults_are_one_line_each(folder, morning, told, tmp_path, capsys):
    told.write_text('{\n"at": "2031-03-04T05:10",\n"gone": ["U-9", 3]\n}', encoding="utf-8")
    words = ["--out", str(tmp_path / "out"), "--done-so-far", str(told), "--plan", "none.json"]
    assert entry(["round", str(folder), *words]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert lines[0] == f"{told}:3: gone 2: - = '3'; allowed: text; correct it"
    assert lines[1].startswith("none.json:1: folder: - = 'missing'; allowed: a file none.json")
    assert len(lines) == 2


def test_a_plan_alone_is_misuse(folder, morning, tmp_path, capsys):
    words = ["--out", str(tmp_path / "out"), "--plan", str(morning)]
    assert entry(["round", str(folder), *words]) == 2
    assert capsys.readouterr().err == (
        f"greaseroute: --plan: {morning}; allowed: together with --done-so-far; "
        "tell what is done so far, or leave --plan out\n"
    )


@pytest.mark.parametrize("name", ["done-so-far", "done-so-far-lonlat"])
def test_its_schema_is_printed(name, capsys):
    assert entry(["schema", name]) == 0
    schema = json.loads(capsys.readouterr().out)
    fields = {"at", "places", "done", "done_units", "blocked", "moved", "gone", "left_strokes"}
    assert fields <= set(schema["properties"])
    assert all(field["description"] for field in schema["properties"].values())
    moved = next(d for n, d in schema["$defs"].items() if n.startswith("MovedUnit"))
    assert ("lon" in moved["properties"]) == (name == "done-so-far-lonlat")
