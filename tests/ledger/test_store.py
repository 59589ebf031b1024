"""The ledger's file: nothing changed, nothing twice, a refusal is one line with what to do."""

import resource
import sqlite3
import subprocess
import sys

import pytest

from greaseroute.errors import LedgerRefused
from greaseroute.ledger import schema, store
from greaseroute.ledger.events import Correction
from greaseroute.ledger.store import FILE, open_ledger
from tests.ledger.samples import MONDAY, card, greased


@pytest.fixture
def path(tmp_path):
    return tmp_path / FILE


@pytest.fixture
def ledger(path):
    with open_ledger(path, create=True) as found:
        yield found


def test_events_come_back_as_they_were_booked(ledger, path):
    events = [greased(2, words="dry, \u2603"), greased(1), greased(3, joint="boom foot pin")]
    assert ledger.append(events, received=MONDAY) == 3
    with open_ledger(path) as again:
        assert again.events() == (events[1], events[0], events[2])  # by when they happened
        assert again.events(unit="EX-02") == ()
        assert len(again) == 3


def test_the_same_id_is_booked_once(ledger):
    ledger.append(card(1), received=MONDAY)
    assert ledger.append(card(1), received=MONDAY) == 0
    assert ledger.append([*card(1), *card(2)], received=MONDAY) == 6
    # Other words under an id that is there already change nothing: an event is never changed.
    assert ledger.append([greased(1, id="c1-0", strokes=99)], received=MONDAY) == 0
    assert {e.strokes for e in ledger.events(kinds=["greased"])} == {5}


@pytest.mark.parametrize(
    ("sql", "says"),
    [
        ("update event set unit = 'X' where id = 'g1'", "never changed: book a correction"),
        ("delete from event where id = 'g1'", "never deleted: book a correction"),
    ],
)
def test_the_file_itself_refuses_changes(ledger, path, sql, says):
    ledger.append([greased(1)], received=MONDAY)
    with sqlite3.connect(path) as other, pytest.raises(sqlite3.IntegrityError, match=says):
        other.execute(sql)
    assert ledger.events() == (greased(1),)


def test_insert_or_replace_replaces_nothing(ledger, path):
    # Replacing deletes without asking the trigger on deletion; one before the insert stops it.
    ledger.append([greased(1)], received=MONDAY)
    with sqlite3.connect(path) as other:
        row = other.execute("select * from event").fetchone()
        other.execute(f"insert or replace into event values ({','.join('?' * 13)})", row)
        other.execute(
            "insert or replace into event (id, kind, at, at_ms, received, body) "
            "values ('g1', 'x', '', 0, '', '{}')"
        )
    other.close()
    assert ledger.events() == (greased(1),)


def test_a_corrected_event_counts_no_longer_and_stays_to_be_seen(ledger):
    right = greased(2, id="right", strokes=8, corrects="g1")
    ledger.append([greased(1), right], received=MONDAY)
    assert ledger.events() == (right,)
    ledger.append([Correction(id="no", at=MONDAY, corrects="right")], received=MONDAY)
    assert ledger.events() == ()
    assert len(ledger.events(in_force=False)) == 3


def test_what_cannot_be_corrected_is_told(ledger):
    unknown = Correction(id="no", at=MONDAY, corrects="nowhere")
    with pytest.raises(LedgerRefused, match="corrects an event that is not booked"):
        ledger.append([greased(1), unknown], received=MONDAY)
    assert len(ledger) == 0
    ledger.append([greased(1), greased(2, corrects="g1")], received=MONDAY)
    with pytest.raises(LedgerRefused, match=r"corrected already; .*correct the later one instead"):
        ledger.append([greased(3, corrects="g1")], received=MONDAY)


def test_a_transaction_is_booked_whole_or_not_at_all(ledger):
    def book():
        with ledger.transaction():
            assert ledger.add(card(1), received=MONDAY) == 6
            assert len(ledger) == 6  # what is added may hang on what was added
            raise ValueError("second thoughts")

    with pytest.raises(ValueError, match="second thoughts"):
        book()
    assert len(ledger) == 0


def test_steps_are_taken_one_by_one_and_a_failing_one_leaves_the_file_as_it_was(path, monkeypatch):
    monkeypatch.setattr(store, "STEPS", schema.STEPS[:1])
    with open_ledger(path, create=True) as old:
        old.append([greased(1)], received=MONDAY)
    bad = "create table more (a text);\ncreate table event (b text);"
    monkeypatch.setattr(store, "STEPS", (*schema.STEPS, bad))
    with pytest.raises(LedgerRefused, match="table event already exists"):
        open_ledger(path)
    with sqlite3.connect(path) as found:
        # The second step was whole and stays; of the third there is nothing, not even its table.
        assert found.execute("pragma user_version").fetchone() == (2,)
        assert not found.execute("select 1 from sqlite_schema where name = 'more'").fetchall()
    found.close()
    monkeypatch.setattr(store, "STEPS", schema.STEPS)
    with open_ledger(path) as now:
        assert now.events() == (greased(1),)
    with sqlite3.connect(path.with_name("record.sqlite.v1.bak")) as copy:
        assert copy.execute("select count(*) from event").fetchone() == (1,)
        assert copy.execute("pragma user_version").fetchone() == (1,)
    copy.close()


def test_a_newer_file_is_refused_unchanged(ledger, path):
    ledger.close()
    with sqlite3.connect(path) as other:
        other.execute("pragma user_version=99")
    other.close()
    before = path.read_bytes()
    with pytest.raises(LedgerRefused, match=r"version 99; allowed: version 2 or older; .*newer"):
        open_ledger(path)
    assert path.read_bytes() == before


def test_another_programs_database_is_refused_unchanged(path):
    with sqlite3.connect(path) as other:
        other.execute("create table mail (a text)")
    other.close()
    before = path.read_bytes()
    with pytest.raises(LedgerRefused, match="another program's database"):
        open_ledger(path, create=True)
    assert path.read_bytes() == before


def test_what_is_no_database_or_damaged_is_told(ledger, path):
    ledger.append([event for n in range(200) for event in card(n)], received=MONDAY)
    ledger.close()
    whole = path.read_bytes()
    path.write_bytes(b"unit;joint\n" * 200)
    with pytest.raises(LedgerRefused, match=r"not a database; .*bring back a copy"):
        open_ledger(path)
    path.write_bytes(whole[:4096] + b"\xff" * 8192 + whole[12288:])
    with open_ledger(path) as hurt, pytest.raises(LedgerRefused, match="damaged"):
        hurt.events()


def test_a_missing_file_and_a_missing_folder_are_told(tmp_path):
    with pytest.raises(LedgerRefused, match=r"missing; .*greaseroute record"):
        open_ledger(tmp_path / FILE)
    with pytest.raises(LedgerRefused, match="cannot be opened"):
        open_ledger(tmp_path / "nowhere" / FILE, create=True)


def test_a_locked_file_is_told_and_keeps_what_it_has(ledger, path):
    ledger.append(card(1), received=MONDAY)
    holder = sqlite3.connect(path, isolation_level=None)
    holder.execute("begin exclusive")
    with pytest.raises(LedgerRefused, match=r"locked by another program; .*try again"):
        open_ledger(path, wait_s=0.05)
    holder.execute("rollback")
    holder.close()
    assert len(ledger) == 6


FILL = """
import resource, sys
from pathlib import Path
from greaseroute.errors import LedgerRefused
from greaseroute.ledger.store import open_ledger
from tests.ledger.samples import MONDAY, card
path, most = Path(sys.argv[1]), int(sys.argv[2])
resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
with open_ledger(path) as ledger:
    for number in range(1, 400):
        try:
            ledger.append(card(number), received=MONDAY)
        except LedgerRefused as error:
            print(number - 1, error)
            break
"""


def test_a_disk_that_fills_up_loses_only_what_was_refused(ledger, path):
    ledger.append(card(0), received=MONDAY)
    most = path.stat().st_size + 40_000
    done = subprocess.run(
        [sys.executable, "-c", FILL, str(path), str(most)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    booked, _, says = done.stdout.partition(" ")
    assert "the disk" in says
    assert "nothing of this was booked" in says
    assert 10 < int(booked) < 399
    assert len(ledger) == 6 * (1 + int(booked))
    assert ledger.rows("pragma integrity_check") == [("ok",)]
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[1] != most  # of the child alone


def test_settings_of_the_connection(ledger):
    # SQLite documentation: synchronous 3 is EXTRA; journal delete keeps one file to copy.
    assert ledger.rows("pragma synchronous") == [(3,)]
    assert ledger.rows("pragma journal_mode") == [("delete",)]
