"""A planned round, for programs and notebooks."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from html import escape
from pathlib import Path
from typing import Any

from greaseroute.cards.geojson import walk_geojson
from greaseroute.cards.round_files import round_files
from greaseroute.cards.summary import summary_text
from greaseroute.cli.output_set import OutputSet
from greaseroute.door.frames import frame_of, geo_frame_of, table_named
from greaseroute.door.open_site import OpenSite
from greaseroute.drawings.map_svg import map_svg
from greaseroute.errors import UnknownName
from greaseroute.plan.round import FittingTask, LeftOut, RoundPlan, StandVisit, Stop, TechnicianPlan
from greaseroute.plan.tally import numbered, tally
from greaseroute.processes import at_most_cores
from greaseroute.rounds.planner import plan_round as plan_record
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.site.lonlat import lonlat_of
from greaseroute.texts.language import ENGLISH

PUMPS = (
    *("technician", "no", "stop", "unit", "type", "arrive", "stand", "x_m", "y_m", "height_m"),
    *("posture", "joint", "fitting", "strokes", "grease", "gun", "dose_cm3", "cartridge_change"),
)
STOPS = (
    *("technician", "stop", "unit", "type", "arrive", "leave", "wait_s", "reload", "fittings"),
    *("strokes", "x_m", "y_m"),
)


@dataclass(frozen=True, slots=True, repr=False)
class Round:
    """One round: the plan, and the site it is for where that is at hand.

    Attributes
    ----------
    plan : RoundPlan
        What ``round.json`` holds.
    site : OpenSite or None
        Needed for maps, cards and true positions; None for a plan that was read from its file
        alone.
    """

    plan: RoundPlan
    site: OpenSite | None = None

    @property
    def technicians(self) -> tuple[TechnicianPlan, ...]:
        """The walk of each technician: ``name``, ``walk_m``, ``finish``, ``stops`` and more."""
        return self.plan.technicians

    @property
    def left(self) -> tuple[LeftOut, ...]:
        """What this plan does not serve, and why."""
        return self.plan.left

    def save(self, folder: str | Path, formats: Iterable[str] | None = None) -> tuple[Path, ...]:
        """Write the round into a folder: all files or none; the paths written.

        Parameters
        ----------
        folder : path
        formats : iterable of str, optional
            Some of json, html, csv, svg, geojson, gpx, png; default: all that can be had.

        Raises
        ------
        UnknownName
            A format that there is not, or not for this site.
        OutputRefused
            A folder that cannot be written to.
        """
        files = round_files(self.plan, self._site("save").record, formats)
        OutputSet(Path(folder), "round", tuple(files)).write(files)
        return tuple(Path(folder) / name for name in files)

    def to_frame(self, table: str = "pumps") -> Any:  # noqa: ANN401 - pandas is optional
        """A pandas DataFrame: ``pumps`` (one row a fitting) or ``stops`` (one row a stop).

        Raises UnknownName for another table, or without pandas.
        """
        if table == "pumps":
            return frame_of(self._pumps(), PUMPS)
        if table == "stops":
            return frame_of(self._stops(), STOPS)
        raise table_named(table, ["pumps", "stops"])

    @property
    def __geo_interface__(self) -> dict[str, Any]:
        """The walk as a GeoJSON FeatureCollection: lines, stops, stands.

        In longitude and latitude where the site has them, else in the site's metres.
        """
        to_lonlat = None if self.site is None else lonlat_of(self.site.record)
        collection: dict[str, Any] = json.loads(walk_geojson(self.plan, to_lonlat=to_lonlat))
        return collection

    def to_geodataframe(self) -> Any:  # noqa: ANN401 - geopandas is optional
        """A geopandas GeoDataFrame of the walk. Raises UnknownName without geopandas."""
        known = self.site is not None and lonlat_of(self.site.record) is not None
        return geo_frame_of(self.__geo_interface__, lonlat=known)

    def summary(self) -> str:
        """The plan as text: what a technician asks before setting off."""
        return summary_text(self.plan, self.site.record.say if self.site else ENGLISH)

    def __repr__(self) -> str:
        walk_m = sum(t.walk_m for t in self.technicians)
        fittings = sum(tally(t).fittings for t in self.technicians)
        last = max((t.finish for t in self.technicians), default=self.plan.at)
        left = f", {len(self.left)} left out" if self.left else ""
        gap = self.plan.bound.gap_pct
        proof = "" if gap is None else f", at most {gap:.1f} % to save"
        return (
            f"<round at {self.plan.site!r}, {self.plan.at[:16].replace('T', ' ')}: {fittings} "
            f"fittings, {walk_m:.0f} m, done {last[11:16]}{left}{proof}>"
        )

    def _repr_html_(self) -> str:
        """Map and figures, for a notebook."""
        figures = f"<pre>{escape(self.summary())}</pre>"
        if self.site is None:
            return figures
        return f"<div>{map_svg(self.site.record, self.plan)}{figures}</div>"

    def _site(self, what: str) -> OpenSite:
        if self.site is None:
            raise UnknownName(
                what, "a plan without its site", limit="a plan with its site",
                next_step="read it with read_plan(path, site=read_site(folder))",
            )  # fmt: skip
        return self.site

    def _pumps(self) -> Iterator[dict[str, object]]:
        for technician, stops in numbered(self.plan):
            number = 0
            for entry in stops:
                for stand_no, stand in enumerate(entry.stop.stands, start=1):
                    for task in stand.fittings:
                        number += 1
                        yield {
                            "technician": technician.name,
                            "no": number,
                            "stop": entry.label,
                            **_stop_row(entry.stop),
                            **_stand_row(stand, stand_no),
                            **_task_row(task),
                        }

    def _stops(self) -> Iterator[dict[str, object]]:
        for technician, stops in numbered(self.plan):
            for entry in stops:
                stop = entry.stop
                tasks = [task for stand in stop.stands for task in stand.fittings]
                x_m, y_m = stop.path[-1] if stop.path else (None, None)
                yield {
                    "technician": technician.name,
                    "stop": entry.label,
                    **_stop_row(stop),
                    "leave": stop.leave,
                    "wait_s": stop.wait_s,
                    "reload": stop.reload,
                    "fittings": len(tasks),
                    "strokes": sum(task.strokes for task in tasks),
                    "x_m": x_m,
                    "y_m": y_m,
                }


def _stop_row(stop: Stop) -> dict[str, object]:
    return {"unit": stop.unit, "type": stop.type, "arrive": stop.arrive}


def _stand_row(stand: StandVisit, number: int) -> dict[str, object]:
    place = {"x_m": stand.x_m, "y_m": stand.y_m, "height_m": stand.height_m}
    return {"stand": number, **place, "posture": stand.posture}


def _task_row(task: FittingTask) -> dict[str, object]:
    wanted = ("joint", "fitting", "strokes", "grease", "gun", "dose_cm3", "cartridge_change")
    return {name: getattr(task, name) for name in wanted}


def plan_round(
    site: OpenSite, at: datetime | str | None = None, *, seed: int = 1, cores: int | None = None
) -> Round:
    """Plan a round.

    Parameters
    ----------
    site : OpenSite
    at : datetime or ISO 8601 text, optional
        The moment the round begins; default: the site's own, else the next start of a round.
    seed : int
        Same site, moment and seed: the same plan to the byte.
    cores : int, optional
        Cores to use at most; the plan does not depend on it.

    Raises
    ------
    PostureRefused
        A unit standing in a posture that its type cannot take.

    Examples
    --------
    >>> import greaseroute as gr
    >>> plan = gr.plan_round(gr.read_site("sites_demo/three_machines"))
    >>> round(plan.technicians[0].walk_m)
    50
    """
    site = site.recorded(at)
    with at_most_cores(cores):
        record = plan_record(site.record, RoundRequest(site.moment(at)), effort=Effort(seed))
    return Round(record, site)


def read_plan(path: str | Path, site: OpenSite | None = None) -> Round:
    """Read a ``round.json``, or the one in a folder; with its ``site`` it has maps and cards.

    Raises
    ------
    OSError
        A file that cannot be read.
    pydantic.ValidationError
        A text that is no plan of this version.
    """
    file = Path(path)
    file = file / "round.json" if file.is_dir() else file
    return Round(RoundPlan.model_validate_json(file.read_text(encoding="utf-8")), site)
