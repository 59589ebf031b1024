"""The tables of ``record.sqlite``, made in steps; a step and the number that says so are one
transaction."""

from typing import Final

APPLICATION_ID: Final = 0x47525231
"""Marks the file as a ledger of this package (SQLite ``application_id``; the letters GRR1)."""

EVENTS: Final = """
create table event (
    seq integer primary key autoincrement,
    id text not null unique check (length(id) between 1 and 64),
    kind text not null,
    at text not null,
    at_ms integer not null,
    received text not null,
    unit text,
    joint text,
    fitting text,
    technician text,
    plan text,
    corrects text references event (id) deferrable initially deferred,
    body text not null check (json_valid(body))
) strict;
create trigger event_is_kept before delete on event
begin select raise(abort, 'an event is never deleted: book a correction'); end;
create trigger event_stays_as_it_is before update on event
begin select raise(abort, 'an event is never changed: book a correction'); end;
create trigger event_is_booked_once before insert on event
when exists (select 1 from event where id = new.id or seq = new.seq)
begin select raise(ignore); end;
"""
# The last trigger also stops `insert or replace`, which deletes without asking the first one.

LOOK_UPS: Final = """
create index event_by_unit on event (unit, kind, at_ms);
create index event_by_plan on event (plan);
create unique index event_corrected_once on event (corrects) where corrects is not null;
create view in_force as
select * from event as e
where not exists (select 1 from event as later where later.corrects = e.id);
"""

STEPS: Final = (EVENTS, LOOK_UPS)
"""Step n brings a file of version n (SQLite ``user_version``) to version n + 1."""
