"""One piece of work beside the rest: done by a copy, or here where there is none."""

import os
import threading
import time

import pytest

from greaseroute.processes import Aside, cores

two_cores = pytest.mark.skipif(cores() < 2, reason="one core: there is no copy")


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
