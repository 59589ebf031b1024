"""Work shared with copies of the process: the same results, whatever becomes of the copies."""

import os
import signal
import subprocess
import sys
import threading
import time
from contextlib import suppress
from pathlib import Path

import pytest

from greaseroute import processes as module
from greaseroute.processes import Aside, at_most_cores, cores, side_by_side

PARTS = 24


@pytest.fixture(autouse=True)
def _two_cores(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "cores", lambda: 2)
    monkeypatch.setattr(module, "THREADED_LIBRARIES", ())  # the parts use none of them


def copies_first() -> None:
    """Give the copy time to take every number."""
    time.sleep(0.3)


needs_fork = pytest.mark.skipif(not hasattr(os, "fork"), reason="copies are forked")


@needs_fork
def test_a_copy_works_and_points_to_what_was_there() -> None:
    thing, other = object(), [1, 2]

    def one(number: int) -> tuple[int, int, object, list[int]]:
        return number * number, os.getpid(), thing, other

    found = side_by_side(one, PARTS, common=[thing], meanwhile=copies_first)
    assert [square for square, *_ in found] == [k * k for k in range(PARTS)]
    assert {pid for _, pid, *_ in found} - {os.getpid()}
    assert all(seen is thing for *_, seen, _ in found)
    assert all(seen == other for *_, seen in found)


@needs_fork
@pytest.mark.parametrize("how", ["fails", "is killed", "answers what cannot be told"])
def test_what_a_copy_cannot_do_is_done_here(how: str) -> None:
    home = os.getpid()

    def one(number: int) -> object:
        if os.getpid() != home and number == 3:
            if how == "fails":
                raise ValueError("in the copy alone")
            if how == "is killed":
                os.kill(os.getpid(), signal.SIGKILL)
            return threading.Lock()  # cannot be pickled
        return number

    assert side_by_side(one, PARTS, common=[], meanwhile=copies_first) == list(range(PARTS))


@needs_fork
def test_an_error_is_raised_as_without_copies() -> None:
    before = children()

    def one(number: int) -> int:
        if number == 5:
            raise LookupError("part 5")
        return number

    with pytest.raises(LookupError, match="part 5"):
        side_by_side(one, PARTS, common=[], meanwhile=copies_first)
    assert children() <= before


@needs_fork
def test_broken_off_no_copy_is_left_behind() -> None:
    before = children()

    def stop() -> None:
        raise KeyboardInterrupt

    def one(number: int) -> int:
        time.sleep(5)
        return number

    begun = time.monotonic()
    with pytest.raises(KeyboardInterrupt):
        side_by_side(one, PARTS, common=[], meanwhile=stop)
    assert time.monotonic() - begun < 4  # the copy was not waited for
    assert children() <= before


@needs_fork
def test_one_thing_is_done_aside() -> None:
    before = children()
    order: list[str] = []
    reading = Aside(lambda: (os.getpid(), list(order)))
    order.append("here")
    pid, seen = reading.result()
    assert pid != os.getpid()
    assert (order, seen) == (["here"], [])

    def fails() -> None:
        raise LookupError("no such folder")

    failing = Aside(fails)
    with pytest.raises(LookupError, match="no such folder"):
        failing.result()
    assert children() <= before


def children() -> set[int]:
    """Every child of this process, those that nobody has waited for included."""
    found = set()
    for stat in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            parent = stat.read_text().rpartition(")")[2].split()[1]
            if int(parent) == os.getpid():
                found.add(int(stat.parent.name))
    return found


def test_no_copy_beside_a_thread_or_for_few_parts() -> None:
    def pids(count: int) -> set[int]:
        return set(side_by_side(lambda _: os.getpid(), count, common=[], meanwhile=copies_first))

    assert pids(7) == {os.getpid()}  # LEAST_PARTS is 8
    assert pids(8) != {os.getpid()}
    done = threading.Event()
    thread = threading.Thread(target=done.wait)
    thread.start()
    try:
        assert pids(PARTS) == {os.getpid()}
    finally:
        done.set()
        thread.join()


KILLED = """
import os, sys, time
from greaseroute.processes import {name}

def work(number=0):
    if os.getpid() != home:
        print(os.getpid(), flush=True)
        time.sleep(600)
    time.sleep(600)

home = os.getpid()
{call}
"""


@needs_fork
@pytest.mark.skipif(cores() < 2, reason="one core: there is no copy")
@pytest.mark.parametrize(
    ("name", "call"),
    [
        ("Aside", "Aside(work).result()"),
        ("side_by_side", "side_by_side(work, 24, common=[])"),
    ],
)
def test_a_copy_ends_when_its_parent_is_killed(name: str, call: str) -> None:
    parent = subprocess.Popen(
        [sys.executable, "-c", KILLED.format(name=name, call=call)],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert parent.stdout is not None
    copy = int(parent.stdout.readline())
    parent.kill()
    parent.wait()
    deadline = time.monotonic() + 20
    while alive(copy) and time.monotonic() < deadline:
        time.sleep(0.02)
    assert not alive(copy)
    parent.stdout.close()


def alive(pid: int) -> bool:
    """Whether a process runs; one that nobody has waited for is dead all the same."""
    try:
        with open(f"/proc/{pid}/stat", encoding="ascii") as file:
            return file.read().rpartition(") ")[2][0] != "Z"
    except FileNotFoundError:
        return False


def test_no_more_cores_than_allowed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()  # the cores that there are
    there = cores()
    with at_most_cores(1):
        assert cores() == 1
        assert side_by_side(lambda _: os.getpid(), PARTS, common=[]) == [os.getpid()] * PARTS
    with at_most_cores(10**6):
        assert cores() == there
    assert cores() == there
