"""``greaseroute week`` from the command line."""

import json
from pathlib import Path

import pytest

from greaseroute.cards.typesetter import pdf_ready
from greaseroute.cli.main import entry
from greaseroute.plan.week import WeekPlan

YARD = str(Path(__file__).parents[2] / "sites_demo" / "three_machines")


def test_files_text_and_exit_code(tmp_path, capsys):
    code = entry(["week", YARD, "--out", str(tmp_path), "--weeks", "50", "--mornings", "3"])
    text = capsys.readouterr().out
    assert code == 0
    assert sorted(p.name for p in tmp_path.iterdir()) == [
        "manifest.json",
        "week.html",
        "week.json",
        *(["week.pdf"] if pdf_ready() else []),
    ]
    week = WeekPlan.model_validate_json((tmp_path / "week.json").read_text(encoding="utf-8"))
    assert len(week.mornings) == 3
    assert text.startswith("Three machines: 3 mornings from 2026-03-03\n")
    assert "order:" in text


def test_json_on_stdout_is_the_file(tmp_path, capsys):
    args = ["week", YARD, "--out", str(tmp_path), "--weeks", "20", "--mornings", "2"]
    entry([*args, "--format", "json", "--days-off", "Sat,sun", "--holiday", "2026-03-04"])
    shown = capsys.readouterr().out
    assert shown == (tmp_path / "week.json").read_text(encoding="utf-8")
    assert [m["at"][:10] for m in json.loads(shown)["mornings"]] == ["2026-03-03", "2026-03-05"]


@pytest.mark.parametrize(
    ("option", "value", "told"),
    [
        ("--days-off", "sat,funday", "'fun' is no weekday; use mon, tue"),
        ("--holiday", "1.5.2031", "'1.5.2031' is not a date like 2031-05-01"),
        ("--mornings", "0", "give 1 or more"),
        ("--early", "1.5", "'1.5' is not a share from 0 to below 1"),
        ("--what-if", "rain", "write it like wet=5days"),
    ],
)
def test_a_wrong_value_is_one_line_and_exit_code_2(option, value, told, tmp_path, capsys):
    assert entry(["week", YARD, "--out", str(tmp_path), option, value]) == 2
    error = capsys.readouterr().err
    assert told in error
    assert error.count("\n") == 1
    assert not list(tmp_path.iterdir())


def test_without_the_typesetter_the_sheets_are_left_away(tmp_path, capsys, monkeypatch):
    args = ["week", YARD, "--out", str(tmp_path), "--weeks", "20", "--mornings", "1"]
    entry(args)
    monkeypatch.setattr("greaseroute.cards.typesetter.find_spec", lambda name: None)
    capsys.readouterr()
    entry(args)
    assert capsys.readouterr().out.splitlines()[-1].endswith(": week.json, week.html")
    names = sorted(p.name for p in tmp_path.iterdir())
    assert names == ["manifest.json", "week.html", "week.json"]
