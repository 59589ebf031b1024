"""``record.sqlite``: opened, brought up to date, read, and added to in whole transactions."""

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, Self

from greaseroute.errors import LedgerRefused
from greaseroute.ledger.event_json import event_json, read_event
from greaseroute.ledger.events import Event
from greaseroute.ledger.schema import APPLICATION_ID, STEPS

FILE: Final = "record.sqlite"
WAIT_S: Final = 30.0
"""How long one waits for another process that is booking. Eight writers were seen to wait 1.9 s at
most for batches of five events (trial on two shared cores); a slow disk takes some times that."""

OLDEST_SQLITE: Final = (
    3,
    38,
    0,
)  # strict tables came with 3.37, the JSON functions are built in since 3.38


class Ledger:
    """The events of one site, oldest first. Use it in a ``with`` block.

    Events are only ever added: triggers refuse everything else. When `append` returns, or the
    ``with`` block of `transaction` ends, the events are on the disk, also where the power fails
    then (rollback journal with ``synchronous=EXTRA``; see the SQLite documentation of both
    pragmas). The file must not lie on a network share, whose locks cannot be trusted.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self._connection = connection

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()

    def append(self, events: Iterable[Event], *, received: datetime) -> int:
        """Book events in one transaction: all or none. Gives how many were new.

        Raises LedgerRefused; what was booked before is kept.
        """
        return self.append_all([(events, received)])

    def append_all(self, batches: Iterable[tuple[Iterable[Event], datetime]]) -> int:
        """Book batches of events, each with when it was received, in one transaction."""
        with self.transaction():
            return sum(self.add(events, received=received) for events, received in batches)

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All that is added in the ``with`` block is booked when it ends, or nothing.

        Nobody else writes meanwhile, so that what is added may hang on what is there.
        """
        with refusals(self.path):
            self._connection.execute("begin immediate")
            try:
                yield
                self._connection.execute("commit")
            except BaseException:
                with suppress(sqlite3.Error):  # a full disk may have rolled it back already
                    self._connection.execute("rollback")
                raise

    def add(self, events: Iterable[Event], *, received: datetime) -> int:
        """Add events inside a transaction; those whose id is there already are left as they are.

        Gives how many were new.
        """
        before = self._connection.total_changes
        self._connection.executemany(INSERT, [_row(event, received) for event in events])
        return self._connection.total_changes - before

    def events(
        self,
        *,
        kinds: Sequence[str] = (),
        unit: str | None = None,
        plan: str | None = None,
        in_force: bool = True,
    ) -> tuple[Event, ...]:
        """Events by when they happened; all of them, or those of some kinds, a unit, a plan.

        ``in_force``: without those that a later event corrects, and without mere corrections.
        """
        wheres, values = _chosen(kinds, unit=unit, plan=plan)
        if in_force:
            wheres.append("kind <> 'correction'")
        table = "in_force" if in_force else "event"
        where = f" where {' and '.join(wheres)}" if wheres else ""
        text = f"select body from {table}{where} order by at_ms, seq"
        return tuple(read_event(body) for (body,) in self.rows(text, values))

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """The rows of a query, for readers that need a few columns of many events."""
        with refusals(self.path):
            return self._connection.execute(sql, tuple(values)).fetchall()

    def has(self, event_id: str) -> bool:
        """Whether an event of that id is booked."""
        return bool(self.rows("select 1 from event where id = ?", (event_id,)))

    def __len__(self) -> int:
        return int(self.rows("select count(*) from event")[0][0])


COLUMNS: Final = (
    "id, kind, at, at_ms, received, unit, joint, fitting, technician, plan, corrects, body"
)
INSERT: Final = f"insert into event ({COLUMNS}) values ({', '.join('?' * 12)})"
_LOOKED_UP: Final = ("unit", "joint", "fitting", "technician", "plan", "corrects")


def _row(event: Event, received: datetime) -> tuple[Any, ...]:
    head = (event.id, event.kind, event.at.isoformat(), instant_ms(event.at), received.isoformat())
    return *head, *(getattr(event, name, None) for name in _LOOKED_UP), event_json(event)


def instant_ms(moment: datetime) -> int:
    """Milliseconds since 1970 UTC, by which moments of any offset are compared."""
    return round(moment.astimezone(UTC).timestamp() * 1000)


def _chosen(
    kinds: Sequence[str], *, unit: str | None, plan: str | None
) -> tuple[list[str], list[str]]:
    wheres, values = [], list(kinds)
    if kinds:
        wheres.append(f"kind in ({', '.join('?' * len(kinds))})")
    for name, value in (("unit", unit), ("plan", plan)):
        if value is not None:
            wheres.append(f"{name} = ?")
            values.append(value)
    return wheres, values


def open_ledger(path: Path, *, create: bool = False, wait_s: float = WAIT_S) -> Ledger:
    """The ledger in a file, brought up to this version; ``create`` makes a missing one.

    Before a file of an older version is changed, a copy is left beside it. Raises LedgerRefused:
    no such file, not a ledger, damaged, locked, made by a newer version, SQLite too old.
    """
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        do = "use a Python that is linked to a newer SQLite"
        raise _refused(path, (f"SQLite {sqlite3.sqlite_version}", "SQLite 3.38 or newer", do))
    if not create and not path.is_file():
        do = "book something first: greaseroute record"
        raise _refused(path, ("missing", "a record.sqlite", do))
    with refusals(path):
        connection = sqlite3.connect(path, isolation_level=None, timeout=wait_s)
        try:
            _set_up(connection, path)
        except BaseException:
            connection.close()
            raise
    return Ledger(path, connection)


def _set_up(connection: sqlite3.Connection, path: Path) -> None:
    """Settings of the connection, then the steps that the file lacks."""
    have = _version(connection, path)
    connection.execute("pragma journal_mode=delete")
    connection.execute("pragma synchronous=extra")
    connection.execute("pragma foreign_keys=on")
    if have == len(STEPS):
        return
    if have:
        _keep_copy(connection, path, have)
    for step in range(have, len(STEPS)):
        _step(connection, path, step)


def _version(connection: sqlite3.Connection, path: Path) -> int:
    """The version of the file, found to be a ledger or empty."""
    have = int(connection.execute("pragma user_version").fetchone()[0])
    mark = int(connection.execute("pragma application_id").fetchone()[0])
    tables = connection.execute("select count(*) from sqlite_schema").fetchone()[0]
    if mark != APPLICATION_ID and (have or mark or tables):
        texts = ("another program's database", "a ledger of greaseroute", "move that file away")
        raise _refused(path, texts)
    if have > len(STEPS):
        do = "it was written by a newer greaseroute: use that one"
        raise _refused(path, (f"version {have}", f"version {len(STEPS)} or older", do))
    return have


def _step(connection: sqlite3.Connection, path: Path, step: int) -> None:
    """One step and its number, in one transaction; left alone if another process was faster."""
    connection.execute("begin immediate")
    try:
        if _version(connection, path) == step:
            for statement in _statements(STEPS[step]):
                connection.execute(statement)
            connection.execute(f"pragma application_id={APPLICATION_ID}")
            connection.execute(f"pragma user_version={step + 1}")
        connection.execute("commit")
    except BaseException:
        with suppress(sqlite3.Error):
            connection.execute("rollback")
        raise


def _statements(script: str) -> Iterator[str]:
    """The statements of a script; `executescript` would end the transaction around them."""
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""


def _keep_copy(connection: sqlite3.Connection, path: Path, version: int) -> None:
    """A copy of the file as it was, beside it."""
    copy = sqlite3.connect(path.with_name(f"{path.name}.v{version}.bak"))
    try:
        connection.backup(copy)
    finally:
        copy.close()


_WHY: Final = (
    ("FOREIGN KEY", "corrects an event that is not booked", "the id of an event of this ledger",
     "correct the id"),
    ("event.corrects", "corrects an event that is corrected already",
     "an event that still counts", "correct the later one instead"),
    ("locked", "locked by another program", "nobody else writing for so long",
     "try again; what was booked before is kept"),
    ("full", "the disk is full", "room for it",
     "make room and book again; nothing of this was booked"),
    ("disk I/O", "the disk refuses to write", "a disk with room that takes writes",
     "make room or mend the disk and book again; nothing of this was booked"),
    ("readonly", "not to be written to", "a file and folder one may write to", "give write access"),
    ("unable to open", "cannot be opened", "a file one may read and write in a folder that exists",
     "check the path and the access"),
    ("not a database", "not a database", "a ledger of greaseroute",
     "bring back a copy, or move it away and import an export"),
    ("malformed", "damaged", "a sound SQLite file",
     "bring back a copy, or move it away and import an export"),
)  # fmt: skip


@contextmanager
def refusals(path: Path) -> Iterator[None]:
    """Turn what SQLite says into one line with the file, the fault and what to do."""
    try:
        yield
    except sqlite3.Error as error:
        text = str(error)
        for word, *told in _WHY:
            if word in text:
                raise _refused(path, (told[0], told[1], told[2])) from error
        raise _refused(path, (text, "what SQLite takes", "see --debug")) from error


def _refused(path: Path, texts: tuple[str, str, str]) -> LedgerRefused:
    """``texts`` are the value, what is allowed, and what to do."""
    value, limit, do = texts
    return LedgerRefused(path.as_posix(), value, limit=limit, next_step=do)
