"""``greaseroute due`` as people and programs call it."""

import json
from pathlib import Path

from greaseroute.cli.main import entry

YARD = str(Path(__file__).parents[2] / "sites_demo" / "three_machines")


def test_text_names_each_owed_joint_with_its_reason(capsys):
    assert entry(["due", YARD]) == 0
    text = capsys.readouterr().out
    assert text.startswith("Three machines, 2026-03-03 05:00: what is owed\n")
    assert "never recorded" in text
    assert text.rstrip().splitlines()[-1].startswith("owed: 5 joints, 6 fittings on 3 units")


def test_json_holds_every_joint(capsys):
    assert entry(["due", YARD, "--format", "json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert len([item for item in found["items"] if item["due"]]) == 5
    assert {item["status"] for item in found["items"]} <= {
        "due", "ahead", "not due", "look only", "never pumped",
    }  # fmt: skip


def test_a_later_moment_owes_at_least_as_much_by_days(capsys):
    entry(["due", YARD, "--at", "2026-09-01T05:00", "--format", "json"])
    later = json.loads(capsys.readouterr().out)
    assert sum(item["due"] for item in later["items"]) >= 5


def test_one_unit_alone(capsys):
    assert entry(["due", YARD, "--unit", "BF-1", "--all", "--format", "json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert {item["unit"] for item in found["items"]} == {"BF-1"}


def test_an_unknown_unit_is_one_line_and_exit_code_2(capsys):
    assert entry(["due", YARD, "--unit", "QQ-9"]) == 2
    error = capsys.readouterr().err
    assert "--unit: QQ-9; allowed: " in error
    assert error.count("\n") == 1
