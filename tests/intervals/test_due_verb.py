"""``greaseroute due`` as people and programs call it."""

import json
from pathlib import Path

from greaseroute.cli.main import entry

YARD = str(Path(__file__).parents[2] / "sites_demo" / "three_machines")


def test_a_line_for_each_machine_and_class_the_furthest_over_first(capsys):
    # BF-1's pulleys have 60 of 50 h (120 %), BF-2's head pulley 55 of 50 h, its slide 10 of 10 h.
    # RB-1 was never recorded: weighed as if last greased a week ago, 7 x 8 of 100 h.
    assert entry(["due", YARD]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "Three machines, 2026-03-03 05:00: what is due"
    assert [" ".join(line.split()) for line in lines[2:7]] == [
        "unit class fittings used how far over joints",
        "BF-1 50 h 2 120 % 10 h over head pulley bearing, tail pulley bearing",
        "BF-2 50 h 1 110 % 5 h over head pulley bearing",
        "BF-2 10 h 1 100 % due now take-up slide",
        "RB-1 100 h 2 56 % never recorded crank bearing",
    ]
    assert lines[8].startswith("due: 5 joints, 6 fittings on 3 units (0 of the joints before")
    assert lines[9] == (
        "No service is on record for 1 joint of 1 unit: it counts as due, weighed as if last "
        "greased 7 days ago. Say when that was: greaseroute record SITE --event greased "
        'unit=RB-1 "joint=100 h" at=YYYY-MM-DD'
    )


def test_each_joint_of_a_unit_in_a_sentence(capsys):
    assert entry(["due", YARD, "BF-2"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[2:6] == [
        "BF-2, belt-feeder-6m, every joint:",
        "  head pulley bearing: due, 55 h since last greasing, every 50 h: 5 h over.",
        "  take-up slide: due, 10 h since last greasing, every 10 h: due now.",
        "  tail pulley bearing: not due, 30 h since last greasing, every 50 h: 20 h left.",
    ]


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
    assert "UNIT: QQ-9; allowed: " in error
    assert error.count("\n") == 1
