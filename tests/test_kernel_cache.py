"""Compiled kernels: kept in the user's folder, never an old one, never a damaged one."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from greaseroute import kernel_cache

MODULE = """
import sys
from numba import njit
from numba.core import event
from greaseroute.kernel_cache import cached_njit, can_keep, clear, missing_kernels

FACTOR = {factor}

@njit
def inner(a):
    return a * FACTOR + {inner}

@cached_njit
def entry(a):
    return inner(a)

class Count(event.Listener):
    begun = 0
    def on_start(self, event):
        Count.begun += 1
    def on_end(self, event):
        pass

if __name__ == "__main__":
    if "clear" in sys.argv:
        print(len(clear()))
        raise SystemExit
    missing = len(missing_kernels())
    with event.install_listener("numba:compile", Count()):
        value = entry(5)
    print(value, Count.begun, missing, can_keep())
"""


def source(folder: Path, *, inner: int = 1, factor: int = 2, head: str = "") -> Path:
    path = folder / "small_kernel.py"
    path.write_text(head + MODULE.format(inner=inner, factor=factor))
    return path


def run(path: Path, cache: Path | str, *words: str, **env: str) -> list[str]:
    done = subprocess.run(
        [sys.executable, "-W", "error", path, *words],
        env={**os.environ, "GREASEROUTE_CACHE_DIR": str(cache), **env},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return done.stdout.split()


def kept(cache: Path) -> list[Path]:
    return sorted(cache.rglob("*.kernel"))


def test_compiled_once_and_loaded_from_then_on(tmp_path):
    path, cache = source(tmp_path), tmp_path / "cache"
    assert run(path, cache) == ["11", "2", "1", "True"]  # the entry and the inner function
    assert run(path, cache) == ["11", "0", "0", "True"]
    assert [p.name.startswith("__main__.entry-") for p in kept(cache)] == [True]
    assert not list(tmp_path.rglob("*.nb[ic]"))


def test_an_edit_of_an_inner_function_or_constant_is_never_answered_by_old_code(tmp_path):
    cache = tmp_path / "cache"
    assert run(source(tmp_path), cache)[:2] == ["11", "2"]
    assert run(source(tmp_path, inner=7), cache)[:2] == ["17", "2"]
    assert run(source(tmp_path, factor=3), cache)[:2] == ["16", "2"]
    assert len(kept(cache)) == 3
    assert run(source(tmp_path), cache)[:2] == ["11", "0"]  # the first is kept beside them


def test_a_comment_above_compiles_nothing_again(tmp_path):
    cache = tmp_path / "cache"
    run(source(tmp_path), cache)
    assert run(source(tmp_path, head="# a line more\n\n"), cache)[:2] == ["11", "0"]


@pytest.mark.parametrize("damage", ["cut", "flipped", "empty", "renamed"])
def test_a_damaged_file_is_compiled_again_and_written_anew(tmp_path, damage):
    path, cache = source(tmp_path), tmp_path / "cache"
    run(path, cache)
    (file,) = kept(cache)
    whole = file.read_bytes()
    if damage == "renamed":  # whole, but of another function
        run(source(tmp_path, inner=7), cache)
        (other,) = (p for p in kept(cache) if p != file)
        other.replace(file)
    else:
        middle = len(whole) // 2
        flipped = whole[:middle] + bytes([whole[middle] ^ 1]) + whole[middle + 1 :]
        file.write_bytes({"cut": whole[:middle], "flipped": flipped, "empty": b""}[damage])
    assert run(source(tmp_path), cache)[:2] == ["11", "2"]
    assert run(path, cache)[:2] == ["11", "0"]


@pytest.mark.parametrize("folder", ["a file", "nothing to write in", "relative"])
def test_where_nothing_can_be_written_it_runs_from_memory(tmp_path, folder):
    cache = {
        "a file": str(source(tmp_path)),
        "nothing to write in": "/proc/greaseroute",
        "relative": "here",
    }[folder]
    assert run(source(tmp_path), cache) == ["11", "2", "1", "False"]


@pytest.mark.parametrize("home", ["/proc/nobody", "a file"])
def test_a_user_without_a_home_keeps_it_among_the_temporary_files(tmp_path, home):
    path, temporary = source(tmp_path), tmp_path / "temporary"
    temporary.mkdir()
    nowhere = str(path) if home == "a file" else home
    env = {"HOME": nowhere, "XDG_CACHE_HOME": f"{nowhere}/cache", "TMPDIR": str(temporary)}
    assert run(path, "", **env) == ["11", "2", "1", "True"]
    assert run(path, "", **env) == ["11", "0", "0", "True"]
    (folder,) = temporary.iterdir()
    assert folder.stat().st_mode & 0o077 == 0
    assert len(kept(folder)) == 1
    assert run(path, "", "clear", **env) == ["1"]
    assert not list(temporary.iterdir())


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="needs another user")
def test_a_folder_that_another_user_put_among_the_temporary_files_is_not_used(tmp_path):
    path, temporary = source(tmp_path), tmp_path / "temporary"
    folder = temporary / f"greaseroute-{os.geteuid()}"
    folder.mkdir(parents=True)
    os.chown(folder, 12345, 12345)
    env = {"XDG_CACHE_HOME": "/proc/nobody", "TMPDIR": str(temporary)}
    assert run(path, "", **env) == ["11", "2", "1", "False"]
    assert not list(folder.iterdir())


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="needs another user")
def test_code_kept_by_another_user_is_not_run(tmp_path):
    path, cache = source(tmp_path), tmp_path / "cache"
    run(path, cache)
    (file,) = kept(cache)
    os.chown(file, 12345, 12345)
    assert run(path, cache)[:2] == ["11", "2"]
    os.chown(cache, 12345, 12345)
    assert run(path, cache) == ["11", "2", "1", "False"]


def test_several_processes_share_one_folder(tmp_path):
    path, cache = source(tmp_path), tmp_path / "cache"
    env = {**os.environ, "GREASEROUTE_CACHE_DIR": str(cache)}
    running = [
        subprocess.Popen([sys.executable, path], env=env, stdout=subprocess.PIPE, text=True)
        for _ in range(4)
    ]
    assert [p.communicate()[0].split()[0] for p in running] == ["11"] * 4
    assert len(kept(cache)) == 1
    assert not list(cache.rglob(".part-*"))
    assert run(path, cache)[:2] == ["11", "0"]


def test_clear_takes_all_away(tmp_path):
    path, cache = source(tmp_path), tmp_path / "cache"
    run(path, cache)
    assert run(path, cache, "clear") == ["1"]
    assert not cache.exists()
    assert run(path, cache, "clear") == ["0"]


def test_a_folder_with_other_things_is_left(tmp_path):
    path, cache = source(tmp_path), tmp_path / "cache"
    run(path, cache)
    (cache / "mine.txt").write_text("kept")
    assert run(path, cache, "clear") == ["1"]
    assert os.listdir(cache) == ["mine.txt"]


def test_no_kernel_of_the_package_is_kept_beside_the_source():
    package = Path(kernel_cache.__file__).parent
    texts = {p: p.read_text(encoding="utf-8") for p in package.rglob("*.py")}
    entries = [p for p, text in texts.items() if "@cached_njit" in text]
    assert len(entries) > 10
    assert not [p for p, text in texts.items() if "cache=True" in text]
