"""What if the next days were wet, or a unit worked under another severity."""

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from greaseroute.errors import UnknownName
from greaseroute.forecast.calendar import Calendar
from greaseroute.intervals.worklist import unit_severity
from greaseroute.records import Record
from greaseroute.site.model import Site

FORM = re.compile(r"(?:(?P<unit>[^:=]+):)?(?P<severity>[^:=]+)=(?P<days>\d+) ?days?|"
                  r"(?:(?P<unit2>[^:=]+):)?(?P<severity2>[^:=]+)=all")  # fmt: skip


WET_FACTOR = 0.5
"""Factor of a what-if named ``wet`` where the site gives no severity of that name: wet work halves
intervals at least (common practice, no source)."""


class WhatIf(Record):
    """A severity that holds for the first ``days`` days (None: all), for one unit or all."""

    severity: str
    days: int | None
    unit: str | None = None

    @property
    def text(self) -> str:
        """In words, such as ``wet for 5 days on every unit``."""
        where = f"on {self.unit}" if self.unit else "on every unit"
        span = "all along" if self.days is None else f"for {self.days} days"
        return f"{self.severity} {span} {where}"


def parse_what_if(text: str) -> WhatIf:
    """``wet=5days``, ``wet=all``, or with a unit ``HT-12:wet=5days``.

    Raises
    ------
    UnknownName
        Any other form.
    """
    found = FORM.fullmatch(text.strip())
    if found is None:
        raise UnknownName(
            "--what-if",
            repr(text),
            limit="SEVERITY=Ndays, SEVERITY=all, UNIT:SEVERITY=Ndays",
            next_step="write it like wet=5days",
        )
    severity = found["severity"] or found["severity2"]
    days = int(found["days"]) if found["days"] else None
    return WhatIf(severity=severity.strip(), days=days, unit=found["unit"] or found["unit2"])


def _factor(site: Site, name: str) -> float:
    for severity in site.severities:
        if severity.name == name:
            return severity.interval_factor
    if name == "wet":
        return WET_FACTOR
    raise UnknownName(
        "--what-if",
        f"severity {name!r}",
        limit=", ".join([*(s.name for s in site.severities), "wet"]),
        next_step="add a [[severity]] to site.toml",
    )


def wear_rates(
    site: Site, calendar: Calendar, *, what_ifs: Sequence[WhatIf]
) -> NDArray[np.float64]:
    """How fast intervals are used up, (units, mornings): 1 as the site stands, 2 at half intervals.

    An hour under a severity counts for 1 / its factor; a unit keeps its own severity where that
    is the harder one. Raises ``UnknownName`` for a severity or unit that the site does not have.
    """
    rates = np.ones((len(site.units), len(calendar)))
    names = [unit.unit for unit in site.units]
    first = calendar.mornings[0].date()
    offset = np.array([(morning.date() - first).days for morning in calendar.mornings])
    for what_if in what_ifs:
        if what_if.unit is not None and what_if.unit not in names:
            raise UnknownName(
                "--what-if",
                f"unit {what_if.unit!r}",
                limit=", ".join(names),
                next_step="see fleet.csv",
            )
        factor = _factor(site, what_if.severity)
        days = offset < (np.inf if what_if.days is None else what_if.days)
        for row, unit in enumerate(site.units):
            if what_if.unit in (None, unit.unit):
                own = unit_severity(site, unit)
                own_factor = own.interval_factor if own else 1.0
                rates[row, days] = np.maximum(
                    rates[row, days], own_factor / min(own_factor, factor)
                )
    return rates
