"""A folder of results is complete or as it was, and what is not the tool's stays untouched."""

import errno
import json
import os
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from greaseroute.cli import put_in_place
from greaseroute.cli.output_set import (
    MANIFEST,
    OutputRefused,
    OutputSet,
    broken_files,
    hashes_of,
    sha256,
)

OLD = {"a.json": b"old a", "b.html": b"old b", "c.gpx": b"old c"}
NEW = {"a.json": b"new a", "b.html": b"new b"}
EXCHANGE = pytest.mark.skipif(sys.platform != "linux", reason="names are exchanged on Linux")


def output(folder: Path, verb: str = "round") -> OutputSet:
    return OutputSet(folder, verb, tuple(OLD), {"site.toml": "1" * 64})


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.is_file() and p.name != MANIFEST}


def scraps(home: Path) -> list[str]:
    return sorted(p.name for p in home.rglob("*") if put_in_place.ASIDE_MARK in p.name)


@pytest.fixture
def out(tmp_path):
    return tmp_path / "deep" / "out"


def test_a_new_folder_holds_the_set_and_its_manifest(out):
    output(out).write(OLD)
    assert contents(out) == OLD
    manifest = json.loads((out / MANIFEST).read_text())
    assert manifest["sets"]["round"]["files"] == {n: sha256(c) for n, c in OLD.items()}
    assert manifest["sets"]["round"]["inputs"] == {"site.toml": "1" * 64}
    assert broken_files(out) == []
    assert scraps(out.parent) == []


def test_a_rerun_replaces_the_set_and_takes_away_what_is_not_written_again(out):
    output(out).write(OLD)
    output(out).write(NEW)
    assert contents(out) == NEW
    assert broken_files(out) == []
    assert scraps(out.parent) == []


def test_what_somebody_else_keeps_there_is_the_same_file_afterwards(out):
    output(out).write(OLD)
    note = out / "my notes.txt"
    note.write_text("mine")
    (out / "c.gpx").write_bytes(b"edited by hand")
    before = note.stat().st_ino
    output(out).write(NEW)
    assert contents(out) == {**NEW, "my notes.txt": b"mine", "c.gpx": b"edited by hand"}
    assert note.stat().st_ino == before
    assert note.stat().st_nlink == 1


def test_a_folder_inside_stays_too(out):
    output(out).write(OLD)
    (out / "photos").mkdir()
    (out / "photos" / "1.jpg").write_bytes(b"x")
    output(out).write(NEW)
    assert contents(out) == NEW
    assert (out / "photos" / "1.jpg").read_bytes() == b"x"
    assert scraps(out.parent) == []


def test_two_verbs_share_a_folder(out):
    output(out).write(OLD)
    output(out, "week").write({"week.json": b"w"})
    output(out).write(NEW)
    assert contents(out) == {**NEW, "week.json": b"w"}
    assert broken_files(out) == []
    (out / "week.json").write_bytes(b"changed")
    (out / "a.json").unlink()
    assert broken_files(out) == ["a.json", "week.json"]


def test_a_link_to_a_folder_stays_a_link(out, tmp_path):
    output(out).write(OLD)
    link = tmp_path / "link"
    link.symlink_to(out)
    output(link).write(NEW)
    assert link.is_symlink()
    assert contents(out) == NEW


@EXCHANGE
def test_a_terminal_that_stands_in_the_folder_is_not_left_in_the_old_one(out):
    output(out).write(OLD)
    before = out.stat().st_ino
    standing = subprocess.Popen(["sleep", "60"], cwd=out)
    try:
        output(out).write(NEW)
    finally:
        standing.kill()
        standing.wait()
    assert (out.stat().st_ino, contents(out)) == (before, NEW)
    output(out).write(OLD)
    assert (out.stat().st_ino != before, contents(out)) == (True, OLD)


def test_mode_of_an_old_folder_is_kept(out):
    output(out).write(OLD)
    out.chmod(0o751)
    output(out).write(NEW)
    assert out.stat().st_mode & 0o777 == 0o751


@pytest.mark.parametrize("first", [True, False])
def test_a_full_disk_leaves_the_folder_as_it_was(out, first, monkeypatch):
    if not first:
        output(out).write(OLD)
    written = []

    def full(handle):
        written.append(handle)
        if len(written) == 2:
            raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(put_in_place.os, "fsync", full)
    with pytest.raises(OutputRefused, match=r"--out .*/out: no space left.*make room") as refused:
        output(out).write(NEW)
    assert put_in_place.ASIDE_MARK not in str(refused.value)
    if first:
        assert not out.parent.exists()
    else:
        assert contents(out) == OLD
        assert broken_files(out) == []
    assert scraps(out.parent) == []


KILLED = """
    import os, signal, sys
    from pathlib import Path
    from greaseroute.cli import put_in_place
    from greaseroute.cli.output_set import OutputSet

    left = int(sys.argv[2])

    def counted(name, call):
        def one(*args, **kwargs):
            global left
            left -= 1
            if left < 0:
                os.kill(os.getpid(), signal.SIGKILL)
            return call(*args, **kwargs)
        return one

    for name in ("open", "fsync", "rename", "replace", "link", "unlink", "close"):
        setattr(os, name, counted(name, getattr(os, name)))
    for name in ("_exchange", "write_synced"):
        setattr(put_in_place, name, counted(name, getattr(put_in_place, name)))
    OutputSet(Path(sys.argv[1]), "round", ()).write({"a.json": b"new a", "b.html": b"new b"})
"""


@EXCHANGE
@pytest.mark.parametrize("first", [True, False])
def test_killed_at_any_step_the_folder_is_complete_or_as_before(tmp_path, first):
    states = []
    for step in range(200):
        out = tmp_path / str(step) / "out"
        if not first:
            output(out).write(OLD)
        code = textwrap.dedent(KILLED)
        done = subprocess.run([sys.executable, "-c", code, out, str(step)], check=False)
        states.append(contents(out) if out.exists() else {})
        assert states[-1] in ({} if first else OLD, NEW), step
        assert not out.exists() or broken_files(out) == []
        output(out).check()
        assert scraps(tmp_path / str(step)) == []
        if done.returncode == 0:
            break
    assert done.returncode == 0
    assert len(states) > 8
    assert states[-2] == states[-1] == NEW  # a kill after the step in which they were put in place


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda out: out.write_text("x"), r"out: a file; allowed: a folder"),
        (
            lambda out: (out / "b.html").mkdir(parents=True),
            r"out/b.html: a folder; allowed: a file",
        ),
    ],
)
def test_a_folder_that_cannot_be_is_refused_beforehand(tmp_path, make, words):
    make(tmp_path / "out")
    with pytest.raises(OutputRefused, match=words):
        output(tmp_path / "out").check()


def test_below_a_file_and_standard_output_are_refused(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputRefused, match="file is a file; allowed: a folder"):
        output(tmp_path / "file" / "out").check()
    with pytest.raises(OutputRefused, match="--out -: standard output; allowed: a folder"):
        output(Path("-")).check()
    assert not Path("-").exists()


def test_a_folder_of_others_is_refused_beforehand(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    with pytest.raises(OutputRefused, match="may not be written to; allowed: a folder of your own"):
        output(tmp_path / "out").check()
    assert os.listdir(tmp_path) == []


def test_only_what_no_run_holds_is_taken_away(out):
    out.parent.mkdir()
    left = out.parent / f".out{put_in_place.ASIDE_MARK}old"
    left.mkdir()
    (left / "a.json").write_bytes(b"half")
    with put_in_place.folder_aside(out) as held:
        output(out).check()
        assert (left.exists(), held.exists()) == (False, True)
    assert os.listdir(out.parent) == []


def test_inputs_are_the_files_of_the_site(tmp_path):
    (tmp_path / "types").mkdir()
    for name in ("site.toml", "fleet.csv", "types/x.toml", "photo.jpg"):
        (tmp_path / name).write_text(name)
    assert hashes_of(tmp_path) == {
        n: sha256(n.encode()) for n in ("fleet.csv", "site.toml", "types/x.toml")
    }
