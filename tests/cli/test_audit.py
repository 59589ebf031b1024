"""``greaseroute audit``: exit codes, what it prints, what it refuses."""

import json
import shutil
from pathlib import Path

import pytest

from greaseroute.cli.main import entry
from greaseroute.plan.round import RoundPlan
from tests.ledger.cards import card_of
from tests.ledger.cards import written as written_card

SITE = Path(__file__).parents[2] / "sites_demo" / "three_machines"


@pytest.fixture(scope="module")
def written(tmp_path_factory) -> Path:
    """The folder of a round on the smallest site."""
    out = tmp_path_factory.mktemp("out")
    assert entry(["round", str(SITE), "--out", str(out)]) == 0
    return out


def _changed(written: Path, tmp_path: Path, change) -> Path:
    plan = json.loads((written / "round.json").read_text(encoding="utf-8"))
    change(plan)
    (tmp_path / "round.json").write_text(json.dumps(plan), encoding="utf-8")
    return tmp_path


def test_a_good_plan_has_no_findings(written, capsys):
    assert entry(["audit", str(SITE), str(written)]) == 0
    (line,) = capsys.readouterr().out.splitlines()
    assert line.startswith("Audit of round.json: no findings; from the raw files: ")
    assert line.endswith("3 stops, 6 stands, 6 fittings")


def test_findings_are_lines_and_exit_code_1(written, tmp_path, capsys):
    def one_stroke_less(plan):
        plan["technicians"][0]["stops"][0]["stands"][0]["fittings"][0]["strokes"] -= 1

    folder = _changed(written, tmp_path, one_stroke_less)
    assert entry(["audit", str(SITE), str(folder)]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert (
        "dose: Imke, BF-1, tail pulley bearing, right: 2 strokes are told, 3 give the dose "
        "(by 1 strokes)"
    ) in lines
    assert lines[-1].startswith(f"Audit of round.json: {len(lines) - 1} findings; ")


def test_json_for_programs(written, tmp_path, capsys):
    folder = _changed(written, tmp_path, lambda plan: plan.update(due_joints=9))
    assert entry(["audit", str(SITE), str(folder), "--format", "json"]) == 1
    (report,) = json.loads(capsys.readouterr().out)["reports"]
    assert report["file"] == "round.json"
    (finding,) = report["findings"]
    assert (finding["promise"], finding["off"], finding["measure"]) == ("due", 4, "joints")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (None, "round.json"),
        ("{", "JSON: syntax"),
        ('{"site": 1}', "technicians"),
    ],
)
def test_what_is_no_plan_is_refused_with_file_and_line(text, told, tmp_path, capsys):
    if text is not None:
        (tmp_path / "round.json").write_text(text, encoding="utf-8")
    assert entry(["audit", str(SITE), str(tmp_path)]) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert told in out.err
    assert all(
        line.startswith(f"{tmp_path.as_posix()}/round.json:") for line in out.err.splitlines()
    )


@pytest.mark.parametrize("text", ["rubbish", "0001-01-01T00:00:00+10:00"])
def test_a_moment_that_is_none_is_refused_with_file_and_line(text, written, tmp_path, capsys):
    folder = _changed(written, tmp_path, lambda plan: plan.update(at=text))
    assert entry(["audit", str(SITE), str(folder)]) == 2
    assert capsys.readouterr().err == (
        f"{tmp_path.as_posix()}/round.json:1: plan: at = '{text}'; allowed: a date and time such "
        "as 2026-11-25T05:00:00+01:00; correct it\n"
    )


def test_a_round_on_a_site_with_a_record_goes_by_the_record(tmp_path, capsys):
    """All that was greased on the first morning is booked: only BF-1's slide is due on the next."""
    yard, out = tmp_path / "yard", tmp_path / "out"
    shutil.copytree(SITE, yard)
    assert entry(["round", str(yard), "--out", str(out)]) == 0
    plan = RoundPlan.model_validate_json((out / "round.json").read_text(encoding="utf-8"))
    card = written_card(card_of(plan), tmp_path / "card.json")
    booked = ["--at", "2026-03-03T08:00"]
    given = ["--plan", str(out / "round.json")]
    assert entry(["record", str(yard), str(card), *booked, *given]) == 0
    next_out = tmp_path / "next"
    entry(["round", str(yard), "--out", str(next_out), "--at", "2026-03-04T05:00"])
    plan = RoundPlan.model_validate_json((next_out / "round.json").read_text(encoding="utf-8"))
    pumped = {(s.unit, f.joint) for t in plan.technicians for s in t.stops
              for v in s.stands for f in v.fittings}  # fmt: skip
    assert pumped == {("BF-1", "take-up slide")}
    capsys.readouterr()
    assert entry(["audit", str(yard), str(next_out)]) == 0, capsys.readouterr().out


def test_a_rest_asks_for_what_it_was_planned_with(written, tmp_path, capsys):
    begun = "2026-03-03T05:00:00+01:00"
    folder = _changed(written, tmp_path, lambda plan: plan.update(rest_of_round_from=begun))
    assert entry(["audit", str(SITE), str(folder)]) == 2
    assert "--done-so-far" in capsys.readouterr().err
