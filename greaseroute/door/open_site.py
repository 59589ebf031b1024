"""A site that is read and found good, for programs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import networkx as nx

from greaseroute.cli.on_record import on_record
from greaseroute.door.frames import frame_of, table_named
from greaseroute.intervals.worklist import DueItem, work_list
from greaseroute.site.folder import read_site as read_folder
from greaseroute.site.model import Site
from greaseroute.site.moment import date_and_time
from greaseroute.site.morning import moment_for
from greaseroute.walk.site_graph import OnlyWay, only_ways, site_graph


@dataclass(frozen=True, slots=True, repr=False)
class OpenSite:
    """A site folder in memory.

    Attributes
    ----------
    record : Site
        All that the folder holds: ``units``, ``types``, ``ground``, ``technicians`` and more.
    folder : Path or None
        Where its ``record.sqlite`` may lie; None where that is laid over ``record`` already.
    """

    record: Site
    folder: Path | None = None

    @property
    def name(self) -> str:
        """What the site is called."""
        return self.record.name

    @property
    def units(self) -> tuple[str, ...]:
        """Every unit by its fleet number, in the order of the file."""
        return tuple(unit.unit for unit in self.record.units)

    def moment(self, at: datetime | str | None = None) -> datetime:
        """The moment planned for: ``at`` (ISO 8601), or the site's own, in the site's zone."""
        given = date_and_time(at) if isinstance(at, str) else at
        return moment_for(self.record, given)

    def recorded(self, at: datetime | str | None = None) -> OpenSite:
        """The site at a moment as its ``record.sqlite`` makes it; the same where there is none.

        Raises LedgerRefused where that file is damaged, locked, or of a newer version.
        """
        if self.folder is None:
            return self
        given = date_and_time(at) if isinstance(at, str) else at
        record, _ = on_record(self.record, self.folder, given)
        return OpenSite(record)

    def graph(self) -> nx.Graph:
        """Pieces of ground, gates, crossings, units and places; see `site_graph`."""
        return site_graph(self.record)

    def only_ways(self) -> tuple[OnlyWay, ...]:
        """Every gate or crossing that is the only way to some unit."""
        return only_ways(self.record)

    def __repr__(self) -> str:
        crew = len(self.record.technicians)
        return (
            f"<site {self.name!r}: {len(self.units)} units, "
            f"{crew} technician{'' if crew == 1 else 's'}>"
        )


@dataclass(frozen=True, slots=True, repr=False)
class DueList:
    """Every joint of a site at a moment, owed or not, and why; iterates over `DueItem`."""

    site: str
    at: datetime
    items: tuple[DueItem, ...]

    @property
    def due(self) -> tuple[DueItem, ...]:
        """What is owed, what falls due before the next round included."""
        return tuple(item for item in self.items if item.due)

    def __len__(self) -> int:
        return len(self.items)

    def __iter__(self) -> Any:  # noqa: ANN401 - an iterator of DueItem
        return iter(self.items)

    def to_frame(self, table: str = "due") -> Any:  # noqa: ANN401 - pandas is optional
        """A pandas DataFrame, one row a joint. Raises UnknownName: another table, no pandas."""
        if table != "due":
            raise table_named(table, ["due"])
        return frame_of((item.model_dump() for item in self.items), list(DueItem.model_fields))

    def __repr__(self) -> str:
        fittings = sum(item.fittings for item in self.due)
        return (
            f"<due at {self.site!r}, {self.at:%Y-%m-%d %H:%M}: {len(self.due)} of "
            f"{len(self)} joints with {fittings} fittings>"
        )


def read_site(path: str | Path) -> OpenSite:
    """Read a site folder.

    Raises
    ------
    BadInput
        Where the folder has faults: ``faults`` holds each with its file and line.

    Examples
    --------
    >>> import greaseroute as gr
    >>> gr.read_site("sites_demo/three_machines")
    <site 'Three machines': 3 units, 1 technician>
    """
    return OpenSite(read_folder(Path(path)), Path(path))


def due(site: OpenSite, at: datetime | str | None = None) -> DueList:
    """What is owed on each unit at a moment (default: the site's own), and why.

    Examples
    --------
    >>> import greaseroute as gr
    >>> gr.due(gr.read_site("sites_demo/three_machines"))
    <due at 'Three machines', 2026-03-03 05:00: 5 of 7 joints with 6 fittings>
    """
    site = site.recorded(at)
    when = site.moment(at)
    return DueList(site.name, when, tuple(work_list(site.record, when)))
