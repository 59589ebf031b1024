"""One piece of work beside the rest: done by a copy, or here where there is none."""

import os
import sys
import threading
import time

import pytest

from greaseroute import processes
from greaseroute.processes import Aside, cores

two_cores = pytest.mark.skipif(cores() < 2, reason="one core: there is no copy")


@pytest.fixture(autouse=True)
def _no_library_with_threads(monkeypatch: pytest.MonkeyPatch) -> None:
    """The work here uses none, whatever the tests before have loaded."""
    monkeypatch.setattr(processes, "THREADED_LIBRARIES", ())


def _wait_for_ever() -> None:
    """At a lock that nobody opens."""
    lock = threading.Lock()
    lock.acquire()
    lock.acquire()


def test_result_is_what_the_work_gives():
    assert Aside(lambda: [1, "a"]).result() == [1, "a"]


@two_cores
def test_work_is_done_by_another_process():
    assert Aside(os.getpid).result() != os.getpid()


def test_work_of_a_process_with_threads_is_done_here():
    gone = threading.Event()
    thread = threading.Thread(target=gone.wait)
    thread.start()
    try:
        assert Aside(os.getpid).result() == os.getpid()
    finally:
        gone.set()
        thread.join()


def test_error_is_raised_where_the_result_is_asked_for():
    def fails():
        raise ValueError("here")

    aside = Aside(fails)
    with pytest.raises(ValueError, match="here"):
        aside.result()


@two_cores
def test_a_copy_that_hangs_leaves_the_work_to_this_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """As one that waits for a thread which was not copied with it."""
    monkeypatch.setattr(processes, "STUCK_S", 0.2)
    monkeypatch.setattr(processes, "LOOK_MS", 50)
    here = os.getpid()
    aside = Aside(lambda: os.getpid() if os.getpid() == here else _wait_for_ever())
    assert aside.result() == here


@two_cores
def test_a_copy_that_is_slow_is_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """It runs, however long it says nothing."""
    monkeypatch.setattr(processes, "STUCK_S", 0.2)
    monkeypatch.setattr(processes, "LOOK_MS", 50)

    def busy() -> int:
        end = time.process_time() + 1
        while time.process_time() < end:
            pass
        return os.getpid()

    assert Aside(busy).result() != os.getpid()


@two_cores
def test_no_copy_is_made_after_a_library_that_keeps_threads(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(processes, "THREADED_LIBRARIES", ("typst",))
    monkeypatch.setitem(sys.modules, "typst", processes)
    assert Aside(os.getpid).result() == os.getpid()


@two_cores
def test_a_copy_makes_no_copies() -> None:
    def inner() -> tuple[int, int]:
        return os.getpid(), Aside(os.getpid).result()

    made, inside = Aside(inner).result()
    assert made == inside != os.getpid()


@two_cores
def test_a_copy_that_is_killed_leaves_the_work_to_this_process():
    here = os.getpid()
    aside = Aside(lambda: os.getpid() if os.getpid() == here else os._exit(1))
    assert aside.result() == here


@two_cores
def test_end_does_not_wait():
    begun = time.monotonic()
    aside = Aside(lambda: time.sleep(60))
    aside.end()
    assert time.monotonic() - begun < 30
