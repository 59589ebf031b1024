"""``round --week``: the joints of the week's morning, and in one line what is done differently."""

import shutil
from pathlib import Path

import pytest

from greaseroute.cli.main import entry
from greaseroute.plan.round import RoundPlan
from greaseroute.plan.week import WeekPlan

YARD = Path(__file__).parents[2] / "sites_demo" / "three_machines"


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    """A folder with the site and its week."""
    work = tmp_path_factory.mktemp("work")
    shutil.copytree(YARD, work / "site")
    args = ["--mornings", "3", "--weeks", "20"]
    entry(["week", str(work / "site"), "--out", str(work / "week"), *args])
    week = WeekPlan.model_validate_json((work / "week" / "week.json").read_text())
    return work, week


def _round(work, *, day=3, site="site", code=(0, 1), more=()):
    out, at = work / f"r{day}{len(more)}", f"2026-03-0{day}T05:00"
    args = ["round", str(work / site), "--out", str(out), "--at", at]
    assert entry([*args, "--week", str(work / "week" / "week.json"), *more]) in code
    return RoundPlan.model_validate_json((out / "round.json").read_text()), out


def test_the_round_is_that_of_the_week_and_says_so(planned):
    work, week = planned
    plan, out = _round(work)
    tasks = [(s.unit, f.joint, f) for t in plan.technicians for s in t.stops
             for stand in s.stands for f in stand.fittings]  # fmt: skip
    today = week.mornings[0]
    assert {(u, j) for u, j, _ in tasks} == {(s.unit, s.joint) for s in today.services}
    assert sum(f.strokes for _, _, f in tasks) == sum(today.strokes.values())
    assert sum(f.put_in for _, _, f in tasks) == sum(today.cartridges.values())
    minutes = sum(t.walk_s + t.wait_s + t.work_s for t in plan.technicians) / 60
    assert minutes == pytest.approx(today.minutes, abs=0.02)
    assert plan.notes[0] == "As the week of 2026-03-03 has it."
    audited = ["audit", str(work / "site"), str(out)]
    assert entry([*audited, "--week", str(work / "week" / "week.json")]) == 0
    assert entry(audited) == 2


def test_what_was_missed_the_morning_before_comes_on_top(planned):
    work, week = planned
    plan, _ = _round(work, day=4)
    asked = {(s.unit, s.joint) for m in week.mornings[:2] for s in m.services}
    done = {(s.unit, f.joint) for t in plan.technicians for s in t.stops
            for stand in s.stands for f in stand.fittings}  # fmt: skip
    assert done == asked
    assert "missed on an earlier morning" in plan.notes[0]
    assert plan.notes[0].startswith("Differs from the week of 2026-03-03: ")


def test_a_machine_that_is_gone_is_told(planned):
    work, _ = planned
    shutil.copytree(work / "site", work / "gone")
    fleet = work / "gone" / "fleet.csv"
    rows = [row for row in fleet.read_text().splitlines() if not row.startswith("BF-1")]
    fleet.write_text("\n".join(rows) + "\n")
    last = work / "gone" / "last_services.csv"
    rows = [row for row in last.read_text().splitlines() if not row.startswith("BF-1")]
    last.write_text("\n".join(rows) + "\n")
    plan, _ = _round(work, site="gone")
    assert "not at BF-1: gone or away" in plan.notes[0]


@pytest.mark.parametrize(
    ("day", "more", "told"),
    [
        (9, (), "no morning on 2026-03-09; allowed: 2026-03-03, 2026-03-04, 2026-03-05"),
        (3, ("--absent", "Imke"), "everybody; allowed: fewer than all"),
        (3, ("--absent", "Bo"), "'Bo'; allowed: Imke"),
    ],
)
def test_what_cannot_be_is_one_line(planned, day, more, told, capsys):
    work, _ = planned
    args = ["round", str(work / "site"), "--out", str(work / "x"), "--at", f"2026-03-0{day}T05:00"]
    assert entry([*args, "--week", str(work / "week" / "week.json"), *more]) == 2
    error = capsys.readouterr().err
    assert told in error
    assert not (work / "x").exists()
