"""``greaseroute first-day`` from the command line."""

from pathlib import Path

from greaseroute.cards.typesetter import pdf_ready
from greaseroute.cli.main import entry
from greaseroute.plan.first_day import FirstDay

YARD = str(Path(__file__).parents[2] / "sites_demo" / "three_machines")


def test_files_text_and_exit_code(tmp_path, capsys):
    assert entry(["first-day", YARD, "--out", str(tmp_path), "--seed", "3"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert sorted(p.name for p in tmp_path.iterdir()) == [
        "first_day.html",
        "first_day.json",
        *(["first_day.pdf"] if pdf_ready() else []),
        "manifest.json",
    ]
    first = FirstDay.model_validate_json((tmp_path / "first_day.json").read_text(encoding="utf-8"))
    assert (first.seed, first.learner) == (3, "Imke")
    assert lines[1].startswith("start at lube box at 05:00, finish at tool shed at 05:")
    assert lines[2] == "carry: lever gun; cartridges: 2 of EP 2 lithium complex"


def test_without_the_typesetter_the_sheets_are_left_away(tmp_path, capsys, monkeypatch):
    entry(["first-day", YARD, "--out", str(tmp_path)])
    monkeypatch.setattr("greaseroute.cards.typesetter.find_spec", lambda name: None)
    capsys.readouterr()
    entry(["first-day", YARD, "--out", str(tmp_path)])
    assert capsys.readouterr().out.splitlines()[-1].endswith(": first_day.json, first_day.html")
    names = sorted(p.name for p in tmp_path.iterdir())
    assert names == ["first_day.html", "first_day.json", "manifest.json"]


def test_both_parameters_of_the_curve_are_settings(tmp_path):
    args = ["first-day", YARD, "--out", str(tmp_path), "--learning-rate", "0.7"]
    entry([*args, "--first-time", "4", "--learning-form", "cumulative average"])
    first = FirstDay.model_validate_json((tmp_path / "first_day.json").read_text(encoding="utf-8"))
    assert (first.curve.rate, first.curve.first) == (0.7, 4.0)
    assert first.curve.form == "cumulative average"


def test_a_rate_above_one_is_one_line_and_exit_code_2(tmp_path, capsys):
    assert entry(["first-day", YARD, "--out", str(tmp_path), "--learning-rate", "1.2"]) == 2
    assert "'1.2' is not a share above 0 and up to 1" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_an_unknown_learner_is_one_line_and_exit_code_2(tmp_path, capsys):
    assert entry(["first-day", YARD, "--out", str(tmp_path), "--learner", "Bo"]) == 2
    assert "technician: 'Bo'; allowed: Imke; see site.toml" in capsys.readouterr().err
