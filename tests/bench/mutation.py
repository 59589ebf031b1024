"""Small faults put into the rules, one at a time: do the tests see them?

    pip install mutmut
    python -m tests.bench.mutation due        # or dose, kinematics, schedule

A copy of the project is made, mutmut changes one operator, number, text or argument after the
other in the modules of a part, and runs the tests of that part. Prints how many faults were seen
and each that was not, with its line. Copies of the process are begun before any test has run:
what a machine type remembers from an earlier test would hide a fault.
"""

import argparse
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parent.parent.parent


class Part(NamedTuple):
    """Modules that are changed, as patterns of files, and the tests that are to see it."""

    modules: tuple[str, ...]
    tests: tuple[str, ...]


PARTS = {
    "dose": Part(
        ("greaseroute/dose/*",),
        (
            "tests/dose",
            "tests/against/test_cartridge_arithmetic.py",
            "tests/against/test_pack_standard.py",
            "tests/against/test_count_quantiles.py",
            "tests/against/test_handbook_regrease.py",
        ),
    ),
    "due": Part(("greaseroute/intervals/*",), ("tests/intervals", "tests/ledger/test_meters.py")),
    "kinematics": Part(
        ("greaseroute/catalogue/kinematics/*",),
        (
            "tests/catalogue",
            "tests/against/test_four_bar_root_finding.py",
            "tests/against/test_four_bar_textbook.py",
        ),
    ),
    "schedule": Part(
        (
            "greaseroute/rounds/schedule.py",
            "greaseroute/rounds/cartridges.py",
            "greaseroute/rounds/bag_levels.py",
        ),
        (
            "tests/rounds/test_schedule.py",
            "tests/rounds/test_bags.py",
            "tests/rounds/test_by_the_clock.py",
            "tests/rounds/test_people.py",
        ),
    ),
}
COPIED = ("greaseroute", "tests", "sites_demo", "README.md", "DEVELOPERS.md", ".ci", ".locks")
NOT_SEEN = ("survived", "no tests", "suspicious")


def main() -> int:
    """Run one part; 1 where fewer than nine of ten faults are seen."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("part", choices=PARTS)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as home:
        folder = Path(home, "project")
        skipped = shutil.ignore_patterns(".git", ".venv", "__pycache__", ".*_cache")
        shutil.copytree(ROOT, folder, ignore=skipped)
        (folder / "setup.cfg").write_text(_settings(PARTS[args.part]), encoding="utf-8")
        _mutmut(folder, "run", "--max-children", "1")
        return _told(folder)


def _settings(part: Part) -> str:
    """What mutmut reads."""
    lists = {
        "only_mutate": part.modules,
        "also_copy": COPIED,
        "pytest_add_cli_args_test_selection": part.tests,
    }
    lines = ["[mutmut]", "source_paths=greaseroute", "track_dependencies=False"]
    lines += ["use_git_change_detection=False", "process_isolation=forkserver"]
    for name, values in lists.items():
        lines += [f"{name}=", *(f"    {value}" for value in values)]
    return "\n".join(lines) + "\n"


def _mutmut(folder: Path, *words: str) -> str:
    """Run mutmut in a folder; what it printed."""
    command = [sys.executable, "-m", "mutmut", *words]
    return subprocess.run(command, cwd=folder, stdout=subprocess.PIPE, text=True, check=True).stdout


def _told(folder: Path) -> int:
    """Print the faults that no test saw, and how many were seen."""
    states = [
        line.split(": ", 1)
        for line in _mutmut(folder, "results", "--all", "true").splitlines()
        if ": " in line
    ]
    missed = [name.strip() for name, state in states if state.strip() in NOT_SEEN]
    for name in missed:
        changed = _mutmut(folder, "show", name).splitlines()
        print(name, *(line for line in changed if line[:1] in "+-" and line[1:2] not in "+-"),
              sep="\n")  # fmt: skip
    seen = len(states) - len(missed)
    print(f"{seen} of {len(states)} faults seen, {100 * seen / len(states):.1f} %")
    return 1 if seen < 0.9 * len(states) else 0


if __name__ == "__main__":
    sys.exit(main())
