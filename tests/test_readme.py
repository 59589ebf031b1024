"""The README is kept true: its commands, the output it shows, the verbs it names."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
QUARRY = "sites_demo/quarry_ruttersby"


def _run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "greaseroute", *arguments],
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=False,
    )


def _fenced(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", README, flags=re.DOTALL)


def test_first_two_commands_set_up_and_run():
    first, second = _fenced("sh")[:2]
    for command in (first, second):
        assert command.startswith("python3 -m venv .venv && .venv/bin/pip install -q -e ")
    assert f".venv/bin/greaseroute round {QUARRY} --out out" in first
    assert second.rstrip().endswith(".venv/bin/python -m pytest")


def test_shown_output_is_the_real_one(tmp_path):
    run = _run("round", QUARRY, "--out", str(tmp_path / "out"))
    assert run.returncode == 0, run.stderr
    (shown,) = _fenced("text")

    def told(text: str) -> list[str]:
        # The last line names the folder and, where the extra is installed, one picture more.
        return [line for line in text.rstrip().splitlines() if not line.startswith("Written to")]

    assert told(run.stdout) == told(shown)


def test_pictures_are_there():
    names = re.findall(r"\]\((\.pictures/[^)]+)\)", README)
    assert {".pictures/quarry_map.svg", ".pictures/shelf.svg"} <= set(names)
    for name in names:
        begins = b"<svg" if name.endswith(".svg") else b"\x89PNG"
        assert (ROOT / name).read_bytes().startswith(begins), name


@pytest.mark.parametrize("verb", sorted(set(re.findall(r"^greaseroute ([a-z-]+)", README, re.M))))
def test_every_verb_named_has_help(verb: str):
    run = _run(verb, "--help")
    assert run.returncode == 0
    assert run.stdout.startswith(f"usage: greaseroute {verb}")


def test_help_names_every_verb_that_the_readme_shows():
    shown = set(re.findall(r"^greaseroute ([a-z-]+)", README, re.M))
    listed = set(re.findall(r"^ {2,4}([a-z][a-z-]+) {2,}\S", _run("--help").stdout, re.M))
    assert shown == listed
