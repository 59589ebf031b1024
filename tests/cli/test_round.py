"""The round verb: files, summary, exit codes. The planner itself is tested in tests/rounds."""

import json
from datetime import datetime

import pytest
from jsonschema import Draft202012Validator

import greaseroute.cards.pumps_xlsx as pumps_xlsx
import greaseroute.cards.typesetter as typesetter
import greaseroute.drawings.png as png
import greaseroute.rounds.planner as planner
import greaseroute.site.folder as folder
from greaseroute.cli.main import entry
from greaseroute.cli.schema import round_schema
from greaseroute.plan.round import RoundPlan
from greaseroute.processes import Aside
from greaseroute.rounds.request import Effort
from tests.cards import sample


@pytest.fixture(autouse=True)
def plain(monkeypatch):
    """A machine without renderers of pictures and pages, unless a test wants one."""
    monkeypatch.setattr(png, "find_spec", lambda name: None)
    monkeypatch.setattr(typesetter, "find_spec", lambda name: None)
    monkeypatch.setattr(pumps_xlsx, "find_spec", lambda name: None)


@pytest.fixture
def told():
    """What the verb asked the planner for."""
    return {}


@pytest.fixture
def planned(monkeypatch, told):
    """Install a site and a plan in place of the reader and the planner."""

    def install(yard, plan):
        def plan_round(site, request, **asked):
            told.update(asked, site=site, request=request)
            return plan

        monkeypatch.setattr(folder, "read_site", lambda path, now: yard)
        monkeypatch.setattr(planner, "plan_round", plan_round)

    return install


@pytest.fixture
def whole(planned):
    """A plan with nothing left out."""
    yard = sample.site()
    plan = sample.plan(yard).model_copy(update={"left": ()})
    planned(yard, plan)
    return plan


def names(out):
    return sorted(path.name for path in out.iterdir() if path.name != "manifest.json")


def test_it_writes_every_file_and_prints_the_summary(whole, tmp_path, capsys):
    out = tmp_path / "out"
    assert entry(["round", "yard", "--out", str(out)]) == 0
    assert names(out) == [
        *("calls.ics", "card.html", "map.svg", "pumps.csv", "round.json", "walk.geojson")
    ]
    shown = capsys.readouterr()
    assert "\nRound for Sample yard, Tuesday 4 March 2031" in shown.out
    assert shown.out.endswith(
        f"Written to {out}: round.json, card.html, pumps.csv, calls.ics, map.svg, walk.geojson\n"
    )
    assert shown.err == ""  # no terminal, no progress line


def test_the_language_of_the_option_goes_before_that_of_the_site(whole, tmp_path, capsys):
    assert entry(["round", "yard", "--out", str(tmp_path / "de"), "--language", "de"]) == 0
    assert "\nSchmierrunde für Sample yard, Dienstag, 4. März" in capsys.readouterr().out
    plan = (tmp_path / "de" / "round.json").read_text(encoding="utf-8")
    assert RoundPlan.model_validate_json(plan) == whole  # programs read the same in any language
    assert entry(["round", "yard", "--out", str(tmp_path / "x"), "--language", "xx"]) == 2


def test_round_json_is_the_plan_and_fits_the_published_schema(whole, tmp_path):
    entry(["round", "yard", "--out", str(tmp_path)])
    text = (tmp_path / "round.json").read_text(encoding="utf-8")
    assert RoundPlan.model_validate_json(text) == whole
    data = json.loads(text)
    validator = Draft202012Validator(round_schema())
    validator.validate(data)
    data["technicians"][0]["stops"][0]["stands"][0]["fittings"][0]["strokes"] = 0
    assert [error.validator for error in validator.iter_errors(data)] == ["minimum"]


def test_the_same_input_gives_the_same_bytes(whole, tmp_path):
    for name in ("one", "two"):
        entry(["round", "yard", "--out", str(tmp_path / name)])
    for name in names(tmp_path / "one"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_options_reach_the_planner(whole, told, tmp_path):
    words = ["--at", "2031-03-05T04:00", "--seed", "7", "--limit-s", "3", "--checks", "all"]
    entry(["round", "yard", "--out", str(tmp_path), *words])
    assert told["request"].at == datetime.fromisoformat("2031-03-05T04:00+01:00")  # site time
    assert (told["request"].with_looks, told["request"].every_look) == (True, True)
    assert told["effort"] == Effort(seed=7, limit_s=3.0)


def test_something_left_out_is_a_finding(planned, tmp_path):
    yard = sample.site()
    planned(yard, sample.plan(yard))  # leaves two joints out
    assert entry(["round", "yard", "--out", str(tmp_path)]) == 1


def test_a_plan_cut_short_is_a_finding(planned, tmp_path):
    yard = sample.site()
    planned(yard, sample.plan(yard).model_copy(update={"left": (), "complete": False}))
    assert entry(["round", "yard", "--out", str(tmp_path)]) == 1
    assert len(names(tmp_path)) == 6  # what there is, is written


def test_json_for_programs_is_the_plan_and_nothing_else(whole, tmp_path, capsys):
    assert entry(["round", "yard", "--out", str(tmp_path), "--format", "json"]) == 0
    printed = capsys.readouterr().out
    assert printed == (tmp_path / "round.json").read_text(encoding="utf-8")


def test_gpx_is_written_where_the_site_lies_in_lonlat(planned, tmp_path):
    yard = sample.site(lonlat=(13.4, 52.5))
    planned(yard, sample.plan(yard))
    entry(["round", "yard", "--out", str(tmp_path)])
    assert "walk.gpx" in names(tmp_path)
    data = json.loads((tmp_path / "walk.geojson").read_text(encoding="utf-8"))
    lon, lat = data["features"][0]["geometry"]["coordinates"][0]
    # The store is 6 m east and north of the anchor.
    assert (lon, lat) == (pytest.approx(13.4000884, abs=1e-7), pytest.approx(52.5000539, abs=1e-7))


def test_the_map_is_a_picture_too_where_it_can_be(whole, monkeypatch, tmp_path, capsys):
    monkeypatch.setattr(png, "find_spec", lambda name: "found")
    monkeypatch.setattr(png, "png_aside", lambda svg: Aside(lambda: svg.encode()[:4]))
    assert entry(["round", "yard", "--out", str(tmp_path)]) == 0
    assert (tmp_path / "map.png").read_bytes() == b"<svg"
    assert capsys.readouterr().out.endswith("map.svg, map.png, walk.geojson\n")


def test_bad_input_writes_nothing(tmp_path, capsys):
    site = tmp_path / "empty"
    site.mkdir()
    out = tmp_path / "out"
    assert entry(["round", str(site), "--out", str(out)]) == 2
    assert not out.exists()
    lines = capsys.readouterr().err.splitlines()
    assert lines
    assert all(line.split(":")[0].endswith((".toml", ".csv", ".geojson")) for line in lines)


def test_a_folder_that_is_not_there_is_one_line(tmp_path, capsys):
    assert entry(["round", str(tmp_path / "none"), "--out", str(tmp_path / "out")]) == 2
    err = capsys.readouterr().err
    assert "Traceback" not in err
    assert str(tmp_path / "none") in err or "site.toml" in err
