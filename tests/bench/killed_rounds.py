"""Rounds that are killed, and disks that are full: ``python -m tests.bench.killed_rounds``.

``--kills N``: N rounds, first runs and reruns in turn, end by SIGKILL at a random moment. Each time
the folder is as before or complete by its manifest, and no process of the run is left a moment
later. After every tenth kill a run goes through to its end: no temporary file is left beside it.
``--disks N``: N disks of other sizes (needs the right to mount one in memory): the folder is as
before or complete, and what is refused is told in one line with exit code 2.
"""

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from greaseroute.cli.output_set import MANIFEST, broken_files
from greaseroute.cli.put_in_place import ASIDE_MARK

MARK = "GREASEROUTE_KILLED_RUN"
GONE_WITHIN_S = 10.0
LINE = 300


def started(site: Path, out: Path, *, seed: int, mark: str) -> subprocess.Popen[str]:
    """A round as a process of its own; ``mark`` stands in the environment of all it starts."""
    words = [sys.executable, "-m", "greaseroute", "round", str(site), "--out", str(out)]
    return subprocess.Popen(
        [*words, "--seed", str(seed)],
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        env={**os.environ, MARK: mark},
    )  # fmt: skip


def contents(out: Path) -> dict[str, bytes] | None:
    """Every file of a folder; None where there is no folder."""
    if not out.is_dir():
        return None
    return {p.relative_to(out).as_posix(): p.read_bytes() for p in out.rglob("*") if p.is_file()}


def living(mark: str) -> list[int]:
    """Processes with that mark in their environment."""
    found = []
    for folder in Path("/proc").iterdir():
        if folder.name.isdigit():
            try:
                if f"{MARK}={mark}".encode() in (folder / "environ").read_bytes().split(b"\0"):
                    found.append(int(folder.name))
            except OSError:
                continue
    return found


def left_alive(mark: str) -> list[int]:
    """Processes of a killed run that are still there after a moment."""
    end = time.monotonic() + GONE_WITHIN_S
    while (found := living(mark)) and time.monotonic() < end:
        time.sleep(0.1)
    return found


def scraps(home: Path) -> list[str]:
    """Temporary files below a folder."""
    return sorted(p.name for p in home.rglob("*") if ASIDE_MARK in p.name)


def state(before: dict[str, bytes] | None, out: Path) -> str:
    """``as before``, ``complete`` or what is wrong."""
    now = contents(out)
    if now == before:
        return "as before"
    if now is None:
        return "the folder is gone"
    if MANIFEST not in now:
        return "no manifest"
    wrong = broken_files(out)
    return f"broken: {wrong}" if wrong else "complete"


def kills(site: Path, count: int, seed: int) -> list[str]:
    """What went wrong in so many killed runs."""
    rng, wrong, seen = random.Random(seed), [], Counter()
    with tempfile.TemporaryDirectory() as place:
        home = Path(place)
        begun = time.monotonic()
        started(site, home / "whole", seed=0, mark="whole").wait()
        whole_s = time.monotonic() - begun
        for number in range(count):
            out = home / ("again" if number % 2 else f"first{number}")
            if number % 2 and not out.exists():
                started(site, out, seed=0, mark="whole").wait()
            before = contents(out)
            run = started(site, out, seed=number + 1, mark=f"kill{number}")
            time.sleep(rng.uniform(0, 1.1 * whole_s))
            run.send_signal(signal.SIGKILL)
            run.wait()
            told = state(before, out)
            seen[told] += 1
            if told not in ("as before", "complete"):
                wrong.append(f"kill {number}: {told}")
            if found := left_alive(f"kill{number}"):
                wrong.append(f"kill {number}: processes left: {found}")
            if number % 10 == 9:
                started(site, home / "again", seed=0, mark="whole").wait()
                wrong += [f"kill {number}: {name} is left" for name in scraps(home / "again")]
                wrong += [f"kill {number}: {name} is left" for name in _beside(home, "again")]
                print(f"{number + 1} kills: {dict(seen)}, {len(wrong)} wrong", flush=True)
    return wrong


def _beside(home: Path, name: str) -> list[str]:
    """Temporary folders made beside an output folder of that name."""
    return [p.name for p in home.iterdir() if ASIDE_MARK in p.name and name in p.name]


@contextmanager
def small_disk(size_kib: int) -> Iterator[Path]:
    """A disk of that size, in memory."""
    with tempfile.TemporaryDirectory() as place:
        mount = ["mount", "-t", "tmpfs", "-o", f"size={size_kib}k", "tmpfs", place]
        subprocess.run(mount, check=True)
        try:
            yield Path(place)
        finally:
            subprocess.run(["umount", place], check=True)


def disks(site: Path, count: int, seed: int) -> list[str]:
    """What went wrong on so many small disks, the largest a little too large to be full."""
    wrong, seen = [], Counter()
    with tempfile.TemporaryDirectory() as place:
        started(site, Path(place) / "out", seed=0, mark="whole").wait()
        size = sum(len(content) for content in (contents(Path(place) / "out") or {}).values())
    for number in range(count):
        size_kib = max(4, round(2.2 * size / 1024 * (number + 1) / count))
        with small_disk(size_kib) as home:
            again, out = number % 2, home / "out"
            if again:
                started(site, out, seed=0, mark="whole").wait()
            before = contents(out)
            run = started(site, out, seed=seed + number, mark="disk")
            error = run.communicate()[1].strip().splitlines()
            told = state(before, out)
            seen[f"{told}, exit code {run.returncode}"] += 1
            if told not in ("as before", "complete"):
                wrong.append(f"{size_kib} KiB: {told}")
            if (run.returncode in (0, 1)) != (told == "complete"):
                wrong.append(f"{size_kib} KiB: {told} with exit code {run.returncode}")
            if run.returncode not in (0, 1) and (run.returncode != 2 or len(error[-1]) > LINE):
                wrong.append(f"{size_kib} KiB: exit code {run.returncode}: {error[-1:]}")
            wrong += [f"{size_kib} KiB: {name} is left" for name in scraps(home)]
        print(f"{size_kib} KiB: {told}, exit code {run.returncode}: {error[-1:]}", flush=True)
    print(dict(seen))
    return wrong


def main() -> None:
    """Run what was asked for; exit code 1 where something went wrong."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--site", type=Path, default=Path("sites_demo/three_machines"))
    parser.add_argument("--kills", type=int, default=0)
    parser.add_argument("--disks", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    wrong = kills(args.site, args.kills, args.seed) if args.kills else []
    wrong += disks(args.site, args.disks, args.seed) if args.disks else []
    print("\n".join(wrong) or "nothing wrong")
    raise SystemExit(bool(wrong))


if __name__ == "__main__":
    main()
