"""One writer for many threads: each commit takes along everything that has queued up."""

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from queue import SimpleQueue
from typing import Generic, Self, TypeVar

MOST_AT_ONCE = 500
"""Batches in one commit: so many events are written in some 10 ms, which nobody notices."""

Batch = TypeVar("Batch")


@dataclass(frozen=True, slots=True)
class _Queued(Generic[Batch]):
    batch: Batch
    done: "Future[None]"


class Writer(Generic[Batch]):
    """Books what threads hand in, with ``book``: all that has queued up in one call.

    ``book`` books every batch it is given, in one transaction, or raises and books none. A commit
    waits for the disk, a fifth of a second or more under load; batches that come meanwhile go into
    the next one together. Use it in a ``with`` block, which ends when all is booked.
    """

    def __init__(self, book: Callable[[Sequence[Batch]], None]) -> None:
        self._book = book
        self._queue: SimpleQueue[_Queued[Batch] | None] = SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="record writer", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._queue.put(None)
        self._thread.join()

    def hand_in(self, batch: Batch) -> "Future[None]":
        """Queue a batch; the future ends when it is on the disk, or holds why it is not."""
        queued = _Queued(batch, Future[None]())
        self._queue.put(queued)
        return queued.done

    def _run(self) -> None:
        while (first := self._queue.get()) is not None:
            taken = [first, *self._waiting()]
            self._commit([queued for queued in taken if queued is not None])
            if None in taken:
                return

    def _waiting(self) -> list[_Queued[Batch] | None]:
        """What else waits, without waiting for more."""
        return [self._queue.get() for _ in range(min(self._queue.qsize(), MOST_AT_ONCE))]

    def _commit(self, taken: list[_Queued[Batch]]) -> None:
        """All in one transaction; where that fails, each on its own, so that one bad batch does
        not take the others along."""
        try:
            self._book([queued.batch for queued in taken])
        except Exception as error:
            if len(taken) == 1:
                taken[0].done.set_exception(error)
                return
            for queued in taken:
                self._commit([queued])
            return
        for queued in taken:
            queued.done.set_result(None)
