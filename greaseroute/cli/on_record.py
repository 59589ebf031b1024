"""A site with its record: what every verb that plans reads."""

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    from greaseroute.site.model import Site


def on_record(site: "Site", folder: Path, at: datetime | None) -> "tuple[Site, datetime]":
    """The site as its ``record.sqlite`` makes it, if there is one, and the moment planned for.

    Without ``at`` a ``planned_for`` that is over, since later work is recorded, gives way to the
    next start of a round after that work.
    """
    from greaseroute.ledger.store import FILE, open_ledger
    from greaseroute.site.morning import moment_for, next_round_start

    path = folder / FILE
    if not path.is_file():
        return site, moment_for(site, at)
    from greaseroute.ledger.recorded import latest_work
    from greaseroute.ledger.site_now import with_record

    with open_ledger(path) as ledger:
        planned = moment_for(site, at)
        latest = latest_work(ledger)
        if at is None and site.planned_for is not None and latest and latest >= planned:
            zone = ZoneInfo(site.time_zone)
            planned = next_round_start(
                latest.astimezone(zone), round_start=site.round_start, work_days=site.work_days
            )
        return with_record(site, ledger, at=planned), planned


def on_first_morning(site: "Site", folder: Path, at: datetime | None) -> "tuple[Site, datetime]":
    """The same on the first working morning from the moment planned for on."""
    from greaseroute.forecast.calendar import plan_calendar

    now, planned = on_record(site, folder, at)
    first = plan_calendar(planned, 1, work_days=site.work_days).mornings[0]
    return (now, planned) if first == planned else on_record(site, folder, first)
