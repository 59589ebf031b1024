"""Booking into a site's record, for a program that takes cards from many phones."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Future
from datetime import UTC, datetime
from pathlib import Path
from typing import Self
from zoneinfo import ZoneInfo

from greaseroute.door.open_site import OpenSite
from greaseroute.errors import UnknownName
from greaseroute.ledger.booking import Booking, HandedIn
from greaseroute.ledger.events import PlanHandedOut
from greaseroute.ledger.handed_in import read_handed_in
from greaseroute.ledger.store import FILE, open_ledger
from greaseroute.ledger.writer import Writer
from greaseroute.site.moment import in_zone


class RecordWriter:
    """Books what many threads hand in; use it in a ``with`` block."""

    def __init__(self, site: OpenSite, path: Path, now: datetime | None) -> None:
        self._site, self._path, self._now = site.record, path, now
        self._zone = ZoneInfo(site.record.time_zone)
        self._writer = Writer(self._book)

    def __enter__(self) -> Self:
        open_ledger(self._path, create=True).close()
        self._writer.__enter__()
        return self

    def __exit__(self, *of: object) -> None:
        self._writer.__exit__(*of)

    def hand_in(self, data: bytes | str, name: str = "handed in") -> Future[None]:
        """Queue what came back, and give a future that ends when it is on the disk.

        Parameters
        ----------
        data : bytes or str
            What the verb ``record`` takes: the export of a card, a receipt, events as JSON lines
            or CSV, a photo of the code on a card.
        name : str
            What to call it where it is refused.

        Raises
        ------
        BadInput
            Every mistake in ``data``; those beside the record (an unknown joint, a meter that ran
            back) are raised by the future's ``result``.
        """
        raw = data.encode() if isinstance(data, str) else data
        return self._writer.hand_in(
            read_handed_in(raw, name, zone=self._zone, plan_of=self._plan_of)
        )

    def _book(self, batches: Sequence[HandedIn]) -> None:
        now = in_zone(self._now or datetime.now(UTC), self._zone)
        with open_ledger(self._path) as ledger:
            Booking(self._site, ledger, now).book(batches)

    def _plan_of(self, plan: str) -> PlanHandedOut | None:
        with open_ledger(self._path) as ledger:
            found = [*ledger.events(kinds=["plan_handed_out"], plan=plan)]
        return next((each for each in found if isinstance(each, PlanHandedOut)), None)


def record_writer(site: OpenSite, *, now: datetime | None = None) -> RecordWriter:
    """A writer for the record of a site: one commit takes along all that has queued up.

    ``now`` is the moment of booking (default: the clock); nothing may have happened after it.

    Raises
    ------
    UnknownName
        Where the site was not read from a folder.

    Examples
    --------
    >>> import greaseroute as gr
    >>> site = gr.read_site("sites_demo/three_machines")
    >>> with gr.record_writer(site) as writer:  # doctest: +SKIP
    ...     booked = [writer.hand_in(path.read_bytes(), path.name) for path in cards]
    ...     [done.result() for done in booked]
    """
    if site.folder is None:
        raise UnknownName(
            "site", site.name, limit="one that was read from its folder",
            next_step="give what read_site gave",
        )  # fmt: skip
    return RecordWriter(site, site.folder / FILE, now)
