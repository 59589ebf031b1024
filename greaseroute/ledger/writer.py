"""One writer for many threads: each commit takes along everything that has queued up."""

import threading
from collections.abc import Iterable
from concurrent.futures import Future
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from queue import SimpleQueue
from typing import Self

from greaseroute.ledger.events import Event
from greaseroute.ledger.store import WAIT_S, open_ledger

MOST_AT_ONCE = 500
"""Batches in one commit: so many events are written in some 10 ms, which nobody notices."""


@dataclass(frozen=True, slots=True)
class _Batch:
    events: tuple[Event, ...]
    received: datetime
    done: "Future[None]"


class Writer:
    """Books what threads hand in. Use it in a ``with`` block.

    A commit waits for the disk, a fifth of a second or more under load; batches that come
    meanwhile go into the next one together. A batch is booked whole or not at all.
    """

    def __init__(self, path: Path, *, wait_s: float = WAIT_S) -> None:
        self._path, self._wait_s = path, wait_s
        self._queue: SimpleQueue[_Batch | None] = SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="ledger writer", daemon=True)
        self.commits = 0

    def __enter__(self) -> Self:
        open_ledger(self._path, create=True, wait_s=self._wait_s).close()
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._queue.put(None)
        self._thread.join()

    def hand_in(self, events: Iterable[Event], *, received: datetime) -> "Future[None]":
        """Queue a batch; the future ends when it is on the disk, or holds why it is not."""
        batch = _Batch(tuple(events), received, Future())
        self._queue.put(batch)
        return batch.done

    def _run(self) -> None:
        while (first := self._queue.get()) is not None:
            batches = [first, *self._queued()]
            self._commit([batch for batch in batches if batch is not None])
            if None in batches:
                return

    def _queued(self) -> list[_Batch | None]:
        """What else waits, without waiting for more."""
        return [self._queue.get() for _ in range(min(self._queue.qsize(), MOST_AT_ONCE))]

    def _commit(self, batches: list[_Batch]) -> None:
        """All in one transaction; where that fails, each on its own, so that one bad batch does
        not take the others along."""
        try:
            self._book(batches)
        except Exception as error:
            if len(batches) == 1:
                batches[0].done.set_exception(error)
                return
            for batch in batches:
                self._commit([batch])
            return
        for batch in batches:
            batch.done.set_result(None)

    def _book(self, batches: list[_Batch]) -> None:
        with open_ledger(self._path, wait_s=self._wait_s) as ledger:
            ledger.append_all((b.events, b.received) for b in batches)
        self.commits += 1
