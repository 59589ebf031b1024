"""Killed at any moment, or written to by many at once: nothing acknowledged is lost."""

import os
import random
import signal
import threading
import time
import traceback
from collections import Counter

import pytest

from greaseroute.errors import LedgerRefused
from greaseroute.ledger.store import FILE, open_ledger
from greaseroute.ledger.writer import Writer
from tests.ledger.samples import MONDAY, card, greased

KILLS = 200
PROCESSES, CARDS = 4, 1000


def _child(work):
    """Fork a child that runs ``work`` and leaves without the tests' own clean-up."""
    pid = os.fork()
    if pid:
        return pid
    try:
        work()
        os._exit(0)
    except BaseException:
        traceback.print_exc()
        raise
    finally:
        os._exit(1)


def _book_and_tell(path, begin, told):
    with open_ledger(path, create=True) as ledger:
        for number in range(begin, begin + 1000):
            ledger.append(card(number), received=MONDAY)
            os.write(told, b"%d\n" % number)


def _killed_run(path, begin, *, moments):
    """Book cards until killed at a random moment; the numbers that were acknowledged.

    The moment lies within two bookings after some acknowledgements, or before the first: so the
    kills fall among the bookings however slow the machine is.
    """
    read, told = os.pipe()
    pid = _child(lambda: _book_and_tell(path, begin, told))
    os.close(told)
    with os.fdopen(read, "rb") as pipe:
        started = time.perf_counter()
        heard = [int(pipe.readline()) for _ in range(moments.randrange(4))]
        spent_s = time.perf_counter() - started
        time.sleep(moments.uniform(0, 2 * spent_s / len(heard) if heard else 0.05))
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        return heard + [int(line) for line in pipe.read().splitlines()]


def test_kill_at_random_moments_loses_nothing_and_leaves_nothing_half(tmp_path):
    path, moments = tmp_path / FILE, random.Random(20261128)
    acknowledged = []
    for kill in range(KILLS):
        acknowledged += _killed_run(path, kill * 1000, moments=moments)
        if kill % 20 == 19:
            with open_ledger(path, create=True) as ledger:
                assert ledger.rows("pragma integrity_check") == [("ok",)]
    with open_ledger(path) as ledger:
        of_card = Counter(name.split("-")[0] for (name,) in ledger.rows("select id from event"))
    assert set(of_card.values()) == {6}  # a card whole or not at all
    assert {f"c{number}" for number in acknowledged} <= set(of_card)
    # Booked but not acknowledged: killed between the commit and the word, so at most one a kill.
    assert len(of_card) - len(acknowledged) <= KILLS
    assert len(acknowledged) > KILLS  # the moments did fall among the bookings


def _book_all(path, order):
    cards = list(range(CARDS))
    random.Random(order).shuffle(cards)
    with open_ledger(path, create=True) as ledger:
        for begin in range(0, CARDS, 25):
            events = [event for n in cards[begin : begin + 25] for event in card(n)]
            ledger.append(events, received=MONDAY)


def test_four_processes_booking_the_same_thousand_cards_book_each_once(tmp_path):
    path = tmp_path / FILE
    children = [_child(lambda order=order: _book_all(path, order)) for order in range(PROCESSES)]
    ends = [os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) for pid in children]
    assert ends == [0] * PROCESSES
    with open_ledger(path) as ledger:
        assert len(ledger) == CARDS * 6
        assert ledger.rows("select count(distinct id) from event") == [(CARDS * 6,)]
        assert ledger.rows("pragma integrity_check") == [("ok",)]


def _appending(path, commits):
    """What books batches of events into a ledger, and counts its commits."""

    def book(batches):
        with open_ledger(path, create=True) as ledger:
            ledger.append_all((events, MONDAY) for events in batches)
        commits.append(len(batches))

    return book


def test_one_writer_commits_what_has_queued_up(tmp_path):
    path, commits = tmp_path / FILE, []
    with Writer(_appending(path, commits)) as writer:
        done = [writer.hand_in(card(n)) for n in range(300)]
        threads = [
            threading.Thread(target=lambda n=n: done.append(writer.hand_in(card(n))))
            for n in range(300, 340)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert [future.result(timeout=60) for future in done] == [None] * 340
    with open_ledger(path) as ledger:
        assert len(ledger) == 340 * 6
    assert len(commits) < 34  # in place of 340


def test_a_bad_batch_does_not_take_the_others_along(tmp_path):
    with Writer(_appending(tmp_path / FILE, [])) as writer:
        good = writer.hand_in(card(1))
        bad = writer.hand_in([greased(1, corrects="nowhere")])
        more = writer.hand_in(card(2))
        assert (good.result(60), more.result(60)) == (None, None)
        with pytest.raises(LedgerRefused, match="not booked"):
            bad.result(60)
    with open_ledger(tmp_path / FILE) as ledger:
        assert len(ledger) == 12
