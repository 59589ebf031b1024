"""Mutated site folders through every verb that reads them: ``python -m tests.bench.mutate_sites``.

Each case is a small site with one to three edits (a number at its edge, a wrong type, a line lost
or doubled, bytes turned, another encoding, deep nesting, a name full of control characters). A
case is told by its seed alone. ``check`` is run always; what it calls good has to run at every
other verb. A case fails where a verb shows a traceback or a fault in the program, takes too long
or too much memory, leaves files after exit code 2, or gives a message that is too long or has no
file and line.
"""

import argparse
import contextlib
import io
import json
import multiprocessing
import os
import random
import re
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import NamedTuple

from tests.site_maker import write_random_site

ROOT = Path(__file__).parent.parent.parent
LINE_LIMIT = 300
QUICK_S, SLOW_S = 10.0, 600.0
MEMORY_BYTES = 1 << 30  # more than the process had before the case
FAULT_LINE = re.compile(r"^.+?:\d+: .+; allowed: .+; .+|^warning: .+?:\d+: .+", re.DOTALL)

NUMBERS = (
    "0", "-1", "1e9", "-1e9", "1e308", "1e-300", "0.5", "1", "2", "12", "1e5", "nan", "inf", "-inf",
    "1" * 25, "9" * 5000, "0x10", "1_000", "1e400", "-0.0", "3.5e3", "45", "361", "1e-9", "1000000",
)  # fmt: skip
TEXTS = (
    "", " ", "a\u0000b", "a\u001b[31mb", "<script>x</script>", "=1+1", "x;=1+1", "\u202eabc",
    "é" * 90,
    "x" * 70_000, "'; --", "../../etc", "null", "1979-05-27", "9999-12-31T23:59:59-14:00",
    "0001-01-01T00:00", "5:15", "13.10.2026", "25:00", "true", "\ud83d\ude9c", "a\u2028b", "\ufeff",
    "store", "name with spaces and, a comma", "\t", "local metres", "EPSG:25832", "lon/lat",
)  # fmt: skip
VALUES = ("[]", "{}", "true", "[[]]", "[1, 2]", '""', '"x"', "1979-05-27", "05:15:00", "null")
NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?![\w.])")
STRING = re.compile(r'"[^"\n]*"')


class Trouble(NamedTuple):
    """What went wrong with one case."""

    seed: int
    verb: str
    what: str
    edits: str


def bases(folder: Path) -> list[Path]:
    """The sites that are mutated: demo sites, small made ones, and the one of ``new``."""
    made = [write_random_site(folder / f"made-{seed}", seed) for seed in range(6)]
    demos = [ROOT / "sites_demo" / name for name in ("three_machines", "harbour_skarnholm")]
    return [*demos, *made]


def mutated(base: Path, folder: Path, seed: int) -> str:
    """Copy a site and edit it; what was done, in words."""
    rng = random.Random(seed)
    shutil.copytree(base, folder)
    files = sorted(p for p in folder.rglob("*") if p.is_file())
    return "; ".join(_edit(rng, rng.choice(files)) for _ in range(rng.choice((1, 1, 1, 2, 3))))


def _edit(rng: random.Random, path: Path) -> str:
    edit = rng.choice(EDITS)
    before = path.read_bytes()
    text = before.decode("utf-8", "surrogateescape")
    after = edit(rng, text)
    path.write_bytes(
        after if isinstance(after, bytes) else after.encode("utf-8", "surrogateescape")
    )
    return f"{path.name}: {edit.__name__.strip('_')}"


def _number(rng: random.Random, text: str) -> str:
    return _replaced(rng, text, NUMBER, lambda _: rng.choice(NUMBERS))


def _scaled(rng: random.Random, text: str) -> str:
    factor = rng.choice((-1, 10, 0.1, 1000, 1e6, 1e-6, 1.5))
    return _replaced(rng, text, NUMBER, lambda found: repr(float(found) * factor))


def _text(rng: random.Random, text: str) -> str:
    return _replaced(rng, text, STRING, lambda _: json.dumps(rng.choice(TEXTS)))


def _raw_text(rng: random.Random, text: str) -> str:
    word = rng.choice(TEXTS).encode("utf-8", "surrogatepass").decode("utf-8", "surrogateescape")
    return _replaced(rng, text, re.compile(r"[\w .-]{2,}"), lambda _: word)


def _type(rng: random.Random, text: str) -> str:
    pattern = rng.choice((NUMBER, STRING, re.compile(r"\[[^\[\]]*\]")))
    return _replaced(rng, text, pattern, lambda _: rng.choice(VALUES))


def _replaced(
    rng: random.Random, text: str, pattern: re.Pattern[str], new: Callable[[str], str]
) -> str:
    found = list(pattern.finditer(text))
    if not found:
        return text
    match = rng.choice(found)
    return text[: match.start()] + new(match.group()) + text[match.end() :]


def _line_lost(rng: random.Random, text: str) -> str:
    lines = text.splitlines(keepends=True)
    if lines:
        del lines[rng.randrange(len(lines))]
    return "".join(lines)


def _line_doubled(rng: random.Random, text: str) -> str:
    lines = text.splitlines(keepends=True)
    if lines:
        k = rng.randrange(len(lines))
        lines.insert(k, lines[k] * rng.choice((1, 1, 50)))
    return "".join(lines)


def _lines_swapped(rng: random.Random, text: str) -> str:
    lines = text.splitlines(keepends=True)
    if len(lines) > 1:
        a, b = rng.randrange(len(lines)), rng.randrange(len(lines))
        lines[a], lines[b] = lines[b], lines[a]
    return "".join(lines)


def _cut(rng: random.Random, text: str) -> str:
    return text[: rng.randrange(len(text) + 1)]


def _byte(rng: random.Random, text: str) -> bytes:
    data = bytearray(text.encode("utf-8", "surrogateescape"))
    for _ in range(rng.choice((1, 1, 5))):
        if data:
            data[rng.randrange(len(data))] = rng.randrange(256)
    return bytes(data)


def _encoding(rng: random.Random, text: str) -> bytes:
    text += "# ä\n" if rng.random() < 0.5 else ""
    return text.encode(rng.choice(("cp1252", "utf-16", "utf-16-le", "utf-8-sig")), "replace")


def _nested(rng: random.Random, text: str) -> str:
    deep = rng.choice((50, 900, 5000, 30_000))
    piece = rng.choice(
        ("[" * deep + "]" * deep, '{"a":' * deep + "1" + "}" * deep, "a." * deep + "b = 1")
    )
    at = rng.randrange(len(text) + 1)
    return _replaced(rng, text, STRING, lambda _: piece) if rng.random() < 0.5 else (
        text[:at] + piece + text[at:]
    )  # fmt: skip


def _tokens(rng: random.Random, text: str) -> str:
    """Two pieces of the text change places: a name for a number, a field for another."""
    words = list(re.finditer(r"[\w.]+", text))
    if len(words) < 2:
        return text
    a, b = sorted(rng.sample(words, 2), key=lambda m: m.start())
    return text[: a.start()] + b.group() + text[a.end() : b.start()] + a.group() + text[b.end() :]


def _emptied(rng: random.Random, text: str) -> str:
    return rng.choice(("", "\n", "\ufeff", "{}", "[]"))


EDITS: tuple[Callable[[random.Random, str], str | bytes], ...] = (
    _number, _number, _number, _scaled, _scaled, _text, _text, _raw_text, _type, _type, _line_lost,
    _line_doubled, _lines_swapped, _cut, _byte, _encoding, _nested, _tokens, _tokens, _emptied,
)  # fmt: skip


class Ran(NamedTuple):
    """What came of one verb."""

    code: int
    out: str
    err: str
    seconds: float


class TooLong(BaseException):
    """A verb was stopped by the clock."""


def _alarm(*_: object) -> None:
    raise TooLong


def ran(words: Sequence[str], *, limit_s: float) -> Ran:
    """One command line in this process, its output caught, stopped after a time."""
    from greaseroute.cli.main import entry

    out, err = io.StringIO(), io.StringIO()
    begun = time.monotonic()
    signal.signal(signal.SIGALRM, _alarm)
    signal.setitimer(signal.ITIMER_REAL, limit_s)
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = entry(words)
    except TooLong:
        code = -1
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
    return Ran(code, out.getvalue(), err.getvalue(), time.monotonic() - begun)


def troubles(verb: str, found: Ran, *, limit_s: float, out: Path) -> Iterator[str]:
    """What is wrong with an answer."""
    if found.code == -1:
        yield f"stopped after {limit_s:g} s"
    elif found.code not in (0, 1, 2):
        yield f"exit code {found.code}"
    for line in (found.err + found.out if verb == "check" else found.err).splitlines():
        if any(bad in line for bad in ("Traceback", "fault in the program", "Warning:")):
            yield line[:200]
    if found.code == 2:
        if not (found.err + found.out).strip():
            yield "no message"
        for line in (found.err or found.out).splitlines():
            yield from _line_troubles(line)
        if out.exists():
            yield f"left after exit 2: {sorted(p.name for p in out.rglob('*'))[:5]}"


def _line_troubles(line: str) -> Iterator[str]:
    """What is wrong with one line of a message."""
    if len(line) > LINE_LIMIT:
        yield f"message of {len(line)} characters: {line[:120]}"
    if not FAULT_LINE.match(line) and not line.startswith("greaseroute: "):
        yield f"no file and line: {line[:160]}"
    if any(ord(c) < 32 or 0x7F <= ord(c) < 0xA0 for c in line):
        yield f"control characters: {line[:120]!r}"


VERBS = ("due", "round", "week", "first-day", "show")


def one_case(seed: int, base: Path, *, verbs: Sequence[str]) -> tuple[list[Trouble], str]:
    """Everything wrong with the case of a seed, and what became of it: good or bad."""
    with tempfile.TemporaryDirectory() as home:
        folder, out = Path(home, "site"), Path(home, "out")
        edits = f"{base.name}: {mutated(base, folder, seed)}"
        asked = {"check": ["check", str(folder)]}
        more = {
            "due": ["due", str(folder)],
            "round": ["round", str(folder), "--out", str(out)],
            "week": ["week", str(folder), "--out", str(out), "--weeks", "50", "--mornings", "2"],
            "first-day": ["first-day", str(folder), "--out", str(out)],
            "show": ["show", str(folder), "--out", str(out)],
        }
        found: list[Trouble] = []
        state = "bad"
        for verb, words in [*asked.items(), *((v, more[v]) for v in verbs)]:
            limit_s = QUICK_S if verb in ("check", "due") else SLOW_S
            answer = ran(words, limit_s=limit_s)
            found += [
                Trouble(seed, verb, what, edits)
                for what in troubles(verb, answer, limit_s=limit_s, out=out)
            ]
            shutil.rmtree(out, ignore_errors=True)
            if verb == "check" and answer.code != 0:
                break
            if verb != "check" and answer.code == 2:
                text = answer.err.strip()[:200]
                found.append(Trouble(seed, verb, f"check said good; then: {text}", edits))
            state = "good"
        return found, state


def _worker(task: tuple[int, Path, tuple[str, ...]]) -> tuple[list[Trouble], str]:
    seed, base, verbs = task
    return one_case(seed, base, verbs=verbs)


def _begin(memory: int) -> None:
    sys.set_int_max_str_digits(4300)
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))


def run(seeds: Sequence[int], *, verbs: tuple[str, ...], workers: int, stop_s: float) -> int:
    """Run all seeds, print every trouble and a summary; how many there were."""
    begun, states, kinds = time.monotonic(), Counter[str](), Counter[str]()
    with tempfile.TemporaryDirectory() as home:
        sites = bases(Path(home))
        tasks = [(seed, sites[seed % len(sites)], verbs) for seed in seeds]
        # Libraries map some 3 GiB that are never touched; the rest is the case's.
        memory = (4 << 30) + MEMORY_BYTES
        context = multiprocessing.get_context("spawn")
        with ProcessPoolExecutor(
            workers,
            mp_context=context,
            initializer=_begin,
            initargs=(memory,),
        ) as pool:
            for found, state in pool.map(_worker, tasks, chunksize=1):
                states[state] += 1
                for trouble in found:
                    kinds[f"{trouble.verb}: {trouble.what[:60]}"] += 1
                    print(*trouble, sep=" | ", flush=True)
                if time.monotonic() - begun > stop_s:
                    pool.shutdown(wait=False, cancel_futures=True)
                    break
    total = sum(states.values())
    print(f"{total} folders from seed {seeds[0]}: {dict(states)}, {sum(kinds.values())} troubles, "
          f"{time.monotonic() - begun:.0f} s")  # fmt: skip
    for kind, count in kinds.most_common(40):
        print(f"{count:6}  {kind}")
    return sum(kinds.values())


def main() -> int:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--seconds", type=float, default=1e9, help="stop after so long")
    parser.add_argument("--workers", type=int, default=os.cpu_count())
    parser.add_argument("--verbs", default=",".join(VERBS), help="which verbs follow check")
    args = parser.parse_args()
    verbs = tuple(verb for verb in args.verbs.split(",") if verb)
    seeds = range(args.first, args.first + args.count)
    return 1 if run(seeds, verbs=verbs, workers=args.workers, stop_s=args.seconds) else 0


if __name__ == "__main__":
    sys.exit(main())
