"""Work on many units shared between this process and copies of it; the result is the same."""

import ctypes
import io
import multiprocessing
import os
import pickle
import select
import signal
import struct
import sys
import threading
import time
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Generic, TypeVar

T = TypeVar("T")

NUMBER = struct.Struct("=I")
# A pipe holds at least 4,096 bytes (POSIX: PIPE_BUF is 512 or more, Linux gives 65,536).
MOST_PARTS = 4096 // NUMBER.size
# Starting a copy and reading its answers takes some hundredths of a second: each has to find so
# many parts.
LEAST_PARTS = 8

# A copy waits for nothing and nobody. One that neither runs nor answers for so long hangs at a lock
# whose thread was not copied with it (POSIX: a fork copies the calling thread alone).
STUCK_S = 5
LOOK_MS = 500
PIPE_BYTES = 1 << 16
# Libraries that keep threads of their own, not seen by Python, once they have worked: a copy made
# after that would wait for them for ever.
THREADED_LIBRARIES = ("typst",)

PR_SET_PDEATHSIG = 1  # linux/prctl.h

_MOST_CORES: ContextVar[int | None] = ContextVar("most_cores", default=None)


def cores() -> int:
    """How many cores this process may use: those it is given, or fewer inside `at_most_cores`."""
    there = len(os.sched_getaffinity(0)) if sys.platform == "linux" else 1
    most = _MOST_CORES.get()
    return there if most is None else min(there, most)


@contextmanager
def at_most_cores(most: int | None) -> Iterator[None]:
    """Use no more than so many cores inside the ``with`` block; None sets no limit.

    The results are the same with any number.
    """
    before = _MOST_CORES.set(most)
    try:
        yield
    finally:
        _MOST_CORES.reset(before)


def die_with(parent: int) -> None:
    """Let the kernel kill this process when the process ``parent``, which started it, ends.

    Without it a copy whose parent was killed would wait for ever for its answer to be read. Linux
    alone has such a signal; elsewhere nothing happens.
    """
    if sys.platform != "linux":
        return
    ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGKILL)
    if os.getppid() != parent:  # it had ended before the kernel was asked
        os._exit(1)


def side_by_side(
    one: Callable[[int], T],
    count: int,
    *,
    common: Iterable[object],
    meanwhile: Callable[[], object] = lambda: None,
) -> list[T]:
    """``[one(0), ..., one(count - 1)]``, worked out by as many processes as there are cores.

    Parameters
    ----------
    one : callable
        Its result must hang on its argument and on what was there before alone.
    count : int
    common : objects
        What results may point to and every process has already. The results point to these very
        objects, as they would if there were one process.
    meanwhile : callable, optional
        What this process needs later on: done once, while copies begin on the numbers.

    Notes
    -----
    The copies are forked, which is safe on Linux with a single thread; elsewhere, after the use of
    a library that keeps threads, and in a process that is itself one of many, there is none. Each
    process takes the next number from one pipe. What a copy could not do (it failed, was killed or
    hangs) is done here, so that an error is raised where its record is known.
    """
    wanted = _copies_for(count)
    if not wanted:
        meanwhile()
        return [one(number) for number in range(count)]
    known = {id(item): item for item in common}
    queue = _Queue(count)
    copies: list[_Copy] = []
    done: dict[int, T] = {}
    try:
        for _ in range(wanted):
            copies.append(_copy(one, queue, known=known, others=copies))
        meanwhile()
        done |= {number: one(number) for number in queue.numbers()}
        for copy in copies:
            done |= copy.answers(known)
    finally:
        for copy in copies:
            copy.end()
        queue.close()
    return [done[number] if number in done else one(number) for number in range(count)]


def _copies_for(count: int) -> int:
    """How many copies of this process are worth while, and safe."""
    if not _copies_are_safe() or count > MOST_PARTS:
        return 0
    return min(cores() - 1, count // LEAST_PARTS)


def _copies_are_safe() -> bool:
    """Whether this process has no threads that matter and is not itself one of many.

    The threads of the linear algebra do not: they stop at a fork, and start again.
    """
    return (
        threading.active_count() == 1
        and multiprocessing.parent_process() is None
        and not any(name in sys.modules for name in THREADED_LIBRARIES)
    )


class _Queue:
    """The numbers 0 to count - 1 in a pipe: whoever is free takes the next one."""

    def __init__(self, count: int) -> None:
        self._read, write = os.pipe()
        os.write(write, b"".join(NUMBER.pack(number) for number in range(count)))
        os.close(write)

    def numbers(self) -> Iterable[int]:
        """The next numbers, until none is left."""
        while word := os.read(self._read, NUMBER.size):
            yield NUMBER.unpack(word)[0]

    def close(self) -> None:
        """Give the pipe back."""
        os.close(self._read)


@dataclass(frozen=True, slots=True)
class _Copy:
    """A forked process and the pipe by which it answers."""

    pid: int
    pipe: BinaryIO

    def answers(self, known: dict[int, object]) -> dict[int, T]:
        """All it worked out; nothing where it did not come to its end, or hangs."""
        try:
            told: dict[int, T] = _Reader(io.BytesIO(self._said()), known).load()
        except (EOFError, pickle.UnpicklingError):
            return {}
        return told

    def _said(self) -> bytes:
        """What it wrote, up to its end or to where it hangs."""
        said, cpu_ticks, quiet_since = bytearray(), None, time.monotonic()
        bytes_to_read = select.poll()
        bytes_to_read.register(self.pipe, select.POLLIN)
        while True:
            if bytes_to_read.poll(LOOK_MS):
                if not (more := os.read(self.pipe.fileno(), PIPE_BYTES)):
                    return bytes(said)
                said += more
            before, cpu_ticks = cpu_ticks, self._cpu_ticks_asleep()
            if cpu_ticks is None or cpu_ticks != before:
                quiet_since = time.monotonic()
            elif time.monotonic() - quiet_since > STUCK_S:
                return bytes(said)

    def _cpu_ticks_asleep(self) -> int | None:
        """The processor time it has had, where it sleeps; None where it runs or nobody can say.

        Source: proc(5), ``/proc/PID/stat``: the state is field 3, utime and stime are 14 and 15.
        """
        try:
            fields = Path(f"/proc/{self.pid}/stat").read_text().rpartition(")")[2].split()
        except OSError:
            return None
        return int(fields[11]) + int(fields[12]) if fields[0] == "S" else None

    def end(self) -> None:
        """See it off, whether it is done or not."""
        self.pipe.close()
        with suppress(ProcessLookupError):
            os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)


def _copy(
    one: Callable[[int], T], queue: _Queue, *, known: dict[int, object], others: Sequence[_Copy]
) -> _Copy:
    """Fork a copy that works on numbers of the queue; ``others`` are the copies before it."""
    read, write = os.pipe()
    parent = os.getpid()
    with warnings.catch_warnings():
        # Threads of the linear algebra are counted there: they stop at a fork, and start again.
        warnings.simplefilter("ignore", DeprecationWarning)
        pid = os.fork()
    if pid:
        os.close(write)
        return _Copy(pid, os.fdopen(read, "rb"))
    with suppress(BaseException):  # whoever forked it does what is missing, and tells the error
        die_with(parent)
        _MOST_CORES.set(1)  # a copy makes no copies
        # A pipe breaks for its writer when the last reader has closed it: this copy is none.
        os.close(read)
        for other in others:
            other.pipe.close()
        done = {number: one(number) for number in queue.numbers()}
        with os.fdopen(write, "wb") as pipe:
            _Writer(pipe, known).dump(done)
    os._exit(0)


class _Writer(pickle.Pickler):
    """Writes what is new; what all processes know by its number."""

    def __init__(self, pipe: BinaryIO, known: dict[int, object]) -> None:
        super().__init__(pipe, protocol=pickle.HIGHEST_PROTOCOL)
        self._known = known

    def persistent_id(self, obj: object) -> int | None:
        return id(obj) if id(obj) in self._known else None


class _Reader(pickle.Unpickler):
    """Reads what `_Writer` wrote."""

    def __init__(self, file: BinaryIO, known: dict[int, object]) -> None:
        super().__init__(file)
        self._known = known

    def persistent_load(self, pid: int) -> object:
        return self._known[pid]


class Aside(Generic[T]):
    """One piece of work that a copy of this process does while this one goes on.

    Where no copy is safe, or it does not come to its end, the work is done when its result is
    asked for. The result must hang on what was there before alone.
    """

    def __init__(self, work: Callable[[], T]) -> None:
        self._work, self._copy = work, None
        if _copies_are_safe() and cores() > 1:
            queue = _Queue(1)
            self._copy = _copy(lambda _: work(), queue, known={}, others=())
            queue.close()

    def result(self) -> T:
        """What the work gave."""
        answers: dict[int, T] = {} if self._copy is None else self._copy.answers({})
        self.end()
        return answers[0] if 0 in answers else self._work()

    def end(self) -> None:
        """See the copy off, whether it is done or not."""
        if self._copy is not None:
            self._copy.end()
            self._copy = None
