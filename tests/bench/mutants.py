"""Mistakes made by hand in the code of due, dose and schedule: ``python -m tests.bench.mutants``.

Each is one change of the source (old text, new text) in a copy of the package, where it hurts: a
comparison turned round, a unit forgotten, a rounding the other way, a time left out of a sum. The
narrow tests of the group are run on the copy; a change that no test and no audit notices is
printed, and the exit code is 1. ``--group`` takes one group, ``--first`` and ``--count`` some of
its changes.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[2]


class Change(NamedTuple):
    """One mistake: the file below the package, a text that occurs once in it, what it becomes."""

    file: str
    old: str
    new: str


OWED, METER = "intervals/owed.py", "intervals/meter.py"
SERVICES, WORK_LIST, INTERVAL = (
    "intervals/services.py", "intervals/worklist.py", "intervals/interval.py",
)  # fmt: skip
STROKES, CARTRIDGES, QUANTITY = "dose/strokes.py", "dose/cartridges.py", "dose/quantity.py"
MATCHING, CALIBRATION = "dose/matching.py", "dose/calibration.py"
SCHEDULE, CLOCK, LEGS, STOPS = (
    "rounds/schedule.py", "rounds/clock.py", "walk/legs.py", "rounds/stops.py",
)  # fmt: skip
CARRIED = "rounds/cartridges.py"
IN_TIME = "if took >= 0 and self._ends_in(now, from_ms + took):\n            "
NEXT_BEST = "line, from_ms=from_ms)\n                best = "
ALWAYS = "if took >= 0:\n            "

DUE = (
    Change(OWED, "return self.left <= 1e-9\n", "return self.left < -1e-9\n"),
    Change(OWED, "return self.every - self.since", "return self.every + self.since"),
    Change(OWED, "return self.since / self.every", "return self.every / self.since"),
    Change(OWED, "self.left <= self.ahead + 1e-9 if", "self.left < self.ahead - 1e-9 if"),
    Change(OWED, "else self.left < self.ahead - 1e-9", "else self.left <= self.ahead + 1e-9"),
    Change(OWED, "ahead.hours_h if ahead.hours_h > 0 else -1.0", "1 + ahead.hours_h"),
    Change(OWED, "if since.days < 1:", "if since.days <= 1:"),
    Change(OWED, "return max(verdicts, key", "return min(verdicts, key"),
    Change(OWED, "used.append(ASSUMED_DAYS / own.days)", "used.append(own.days / ASSUMED_DAYS)"),
    Change(METER, "service.at < r.at < now.at", "service.at < r.at <= service.at"),
    Change(METER, "before.meter_h - READING_SLACK_H", "before.meter_h - 1000"),
    Change(METER, "if reading.new_meter and meters[-1]:", "if False:"),
    Change(METER, "return HoursRun(hours_h + unseen_h,", "return HoursRun(hours_h,"),
    Change(METER, "if day.hours_h == 0 and any", "if any"),
    Change(SERVICES, "if done.at <= at and (", "if ("),
    Change(SERVICES, "last[key] < done", "last[key] > done"),
    Change(SERVICES, "if service.unit != unit.unit:", "if False:"),
    Change(SERVICES, "now = Reading(at, read.meter_h + carried_h)",
           "now = Reading(at, read.meter_h)"),
    Change(INTERVAL, "round(interval.hours * factor, 6)", "round(interval.hours / factor, 6)"),
    Change(INTERVAL, "round(interval.days * factor, 6)", "round(interval.days, 6)"),
    Change(WORK_LIST, "if joint.never_pump:", "if False:"),
    Change(WORK_LIST, 'if joint.done_by == "operator":', "if False:"),
    Change(WORK_LIST, "worst = max(verdicts", "worst = min(verdicts"),
    Change(WORK_LIST, 'verdicts[done].judgement.status != "not due")\n    if not due',
           'verdicts[done].judgement.status == "due")\n    if not due'),
)  # fmt: skip

DOSE = (
    Change(STROKES, "math.ceil(dose_cm3 / stroke_cm3 - WHOLE_SLACK)",
           "math.floor(dose_cm3 / stroke_cm3)"),
    Change(STROKES, "math.ceil(dose_cm3 / stroke_cm3 - WHOLE_SLACK)",
           "math.ceil(dose_cm3 / stroke_cm3 + 1e-9)"),
    Change(STROKES, "return max(1, math.ceil", "return max(0, math.ceil"),
    Change(STROKES, "return max(1, math.ceil", "return max(2, math.ceil"),
    Change(STROKES, "gun.ten_strokes_g / 10", "gun.ten_strokes_g"),
    Change(STROKES, "density_g_cm3=grease.density_g_cm3)\n\n\ndef strokes",
           "density_g_cm3=1.0)\n\n\ndef strokes"),
    Change(QUANTITY, "return dose.cm3[0]", "return dose.cm3[1]"),
    Change(QUANTITY, "dose.strokes[0] * dose.stroke_cm3", "dose.strokes[1] * dose.stroke_cm3"),
    Change(QUANTITY, "dose.strokes[0] * dose.stroke_cm3", "dose.strokes[0] * 1.0"),
    Change(QUANTITY, "return g_to_cm3(mass_g, density_g_cm3=density_g_cm3)", "return mass_g"),
    Change(QUANTITY, "HANDBOOK_G_PER_MM2 = 0.005", "HANDBOOK_G_PER_MM2 = 0.0005"),
    Change(CARTRIDGES, "grease.cartridge_g * grease.usable_share / grease.density_g_cm3",
           "grease.cartridge_g / grease.density_g_cm3"),
    Change(CARTRIDGES, "grease.cartridge_g * grease.usable_share / grease.density_g_cm3",
           "grease.cartridge_g * grease.usable_share"),
    Change(CARTRIDGES, "return full - gun.priming_strokes", "return full"),
    Change(CARTRIDGES, "if full <= gun.priming_strokes:", "if full < gun.priming_strokes:"),
    Change(CARTRIDGES, "if self.left < wanted:", "if self.left <= wanted:"),
    Change(CARTRIDGES, "put_in = math.ceil(wanted / self.capacity)", "put_in = 1"),
    Change(CARTRIDGES, "self.left = put_in * self.capacity", "self.left += put_in * self.capacity"),
    Change(CARTRIDGES, "self.left -= wanted", "self.left -= max(0, wanted - 1)"),
    Change(CARTRIDGES, "carry=used + grease.reserve_cartridges", "carry=used"),
    Change(CARTRIDGES, "_Barrel(gun.left_strokes,", "_Barrel(0,"),
    Change(MATCHING, "liked not in (None, grease_by[gun.grease].moly)",
           "liked in (None, grease_by[gun.grease].moly)"),
    Change(MATCHING, "- set(gun.couplers))", "- set())"),
    Change(CALIBRATION, "stroke_g = total_g / strokes_weighed", "stroke_g = total_g / 10"),
)  # fmt: skip

SCHEDULED = (
    Change(SCHEDULE, "begin = max(leg.arrive_ms, halt.not_before_ms)", "begin = leg.arrive_ms"),
    Change(SCHEDULE, "now = begin + ms(clock.site.rules.reload_s)", "now = begin"),
    Change(SCHEDULE, " + sum(each) + halt.longer_ms", " + halt.longer_ms"),
    Change(SCHEDULE, "call.visit.total_ms(call.way) + sum(each)",
           "call.visit.total_ms(call.way) - call.visit.isolation_ms + sum(each)"),
    Change(SCHEDULE, "begin = begin if had >= NEVER else had", "begin = begin"),
    Change(SCHEDULE, "origin, here = here, leave", "origin, here = here, enter"),
    Change(SCHEDULE, "home = clock.leg(here, route.finish, from_ms=now)",
           "home = clock.leg(here, route.finish, from_ms=begin)"),
    Change(SCHEDULE, "return on_legs + sum(h.begin_ms - h.arrive_ms for h in self.halts)",
           "return on_legs"),
    Change(SCHEDULE, "spent = schedule.finish_ms - schedule.route.start_ms - schedule.idle_ms",
           "spent = schedule.finish_ms - schedule.route.start_ms"),
    Change(SCHEDULE, "h.call.visit.fixed_ms + change_ms(h.call, h.put_in, guns=guns)",
           "h.call.visit.fixed_ms"),
    Change(SCHEDULE, "return Halt(way, not_before_ms=team.window_of(way)[0])", "return Halt(way)"),
    Change(CLOCK, "if used > self.room:", "if used > self.room + 1:"),
    Change(CLOCK, "if leave > min(last, self.end_ms):", "if leave > self.end_ms:"),
    Change(CLOCK, "max(self.arrive(spot, self.enter[way]), first)",
           "self.arrive(spot, self.enter[way])"),
    Change(CLOCK, "leave = begin + self.total_ms[way] + pumped.change_ms",
           "leave = begin + self.total_ms[way]"),
    Change(CLOCK, "ready = self.arrive(spot, point) + self.reload_ms",
           "ready = self.arrive(spot, point)"),
    Change(CLOCK, "Spot(point, ready, spot.left, 0)", "Spot(point, ready, spot.left, spot.used)"),
    Change(CLOCK, "if left[gun] < strokes:", "if left[gun] <= strokes:"),
    Change(CLOCK, "return arrive if arrive <= self.end_ms else NEVER", "return arrive"),
    Change(LEGS, f"{IN_TIME}return Leg(", f"{ALWAYS}return Leg("),
    Change(LEGS, f"{IN_TIME}return from_ms", f"{ALWAYS}return from_ms"),
    Change(LEGS, "max(lo, first) + long", "lo + long"),
    Change(LEGS, f"{NEXT_BEST}min(", f"{NEXT_BEST}max("),
    Change(LEGS, "0 <= took < best.arrive_ms - from_ms", "0 <= took < 0"),
    Change(LEGS, "found.append((lo, max([hi, *ends])))", "found.append((lo, hi))"),
    Change(CARRIED, "if n}", "}"),
    Change(CARRIED, "return tuple(n * ms(guns[f.gun].change_s) for f, n in pairs)",
           "return tuple(min(n, 1) * ms(guns[f.gun].change_s) for f, n in pairs)"),
)  # fmt: skip

GROUPS: dict[str, tuple[tuple[Change, ...], tuple[str, ...]]] = {
    "due": (DUE, ("tests/intervals/test_worklist.py",)),
    "dose": (DOSE, ("tests/dose",)),
    "schedule": (
        SCHEDULED,
        ("tests/walk/test_legs.py", "tests/rounds/test_schedule.py"),
    ),
}  # fmt: skip


def main() -> int:
    """Every change of the groups asked for; 1 where one is not noticed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--group", choices=GROUPS, action="append", help="only these; may repeat")
    parser.add_argument("--first", type=int, default=0, help="the first change of a group")
    parser.add_argument("--count", type=int, default=1000, help="so many changes of a group")
    args = parser.parse_args()
    unnoticed = 0
    with tempfile.TemporaryDirectory() as folder:
        _copy(Path(folder))
        for group in args.group or GROUPS:
            changes, tests = GROUPS[group]
            part = changes[args.first : args.first + args.count]
            begun = time.monotonic()
            missed = 0
            for number, change in enumerate(part, start=args.first):
                if not _noticed(Path(folder), change, tests):
                    missed += 1
                    what = f"{change.file}: {change.old!r} -> {change.new!r}"
                    print(f"  {group} {number} not noticed: {what}", flush=True)
            spent_s = time.monotonic() - begun
            noticed = f"{len(part) - missed} of {len(part)} noticed"
            print(f"{group}: {noticed}, {spent_s:.0f} s", flush=True)
            unnoticed += missed
    return 1 if unnoticed else 0


def _copy(folder: Path) -> None:
    """Package and tests in a folder of their own; the package is the one that is changed."""
    shutil.copytree(ROOT / "greaseroute", folder / "greaseroute")
    for name in ("tests", "sites_demo", "pyproject.toml", "README.md"):
        (folder / name).symlink_to(ROOT / name)


def _noticed(folder: Path, change: Change, tests: tuple[str, ...]) -> bool:
    """Whether the tests fail with a change made. Raises AssertionError where its text is not."""
    file = folder / "greaseroute" / change.file
    good = file.read_text(encoding="utf-8")
    assert good.count(change.old) == 1, f"{change.file}: {change.old!r} {good.count(change.old)} x"
    file.write_text(good.replace(change.old, change.new), encoding="utf-8")
    try:
        command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests]
        environment = {**os.environ, "PYTHONPATH": str(folder)}
        done = subprocess.run(
            command, cwd=folder, env=environment, capture_output=True, text=True, check=False
        )
        return done.returncode == 1
    finally:
        file.write_text(good, encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
