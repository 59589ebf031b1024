"""The week ahead and a first day, for programs and notebooks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from html import escape
from pathlib import Path

from greaseroute.cards.first_day_html import first_day_html
from greaseroute.cards.first_day_pdf import first_day_pdf
from greaseroute.cards.typesetter import pdf_ready
from greaseroute.cards.week_html import week_html
from greaseroute.cards.week_pdf import week_pdf
from greaseroute.cli.output_set import OutputSet
from greaseroute.door.open_site import OpenSite
from greaseroute.forecast.round_planner import round_planner, trial_rounds
from greaseroute.forecast.week import WeekSettings, span_of
from greaseroute.forecast.week import plan_week as week_record
from greaseroute.plan.first_day import FirstDay
from greaseroute.plan.week import WeekPlan
from greaseroute.processes import at_most_cores
from greaseroute.training.choice import DaySettings
from greaseroute.training.day import pairing
from greaseroute.training.first_day import plan_first_day as first_day_record


@dataclass(frozen=True, slots=True, repr=False)
class Page:
    """A plan with its page and its sheets: a week or a first day.

    Attributes
    ----------
    plan : WeekPlan or FirstDay
        What the JSON file holds.
    site : OpenSite
    """

    plan: WeekPlan | FirstDay
    site: OpenSite
    verb: str
    page: Callable[[], str]
    sheets: Callable[[], bytes]

    def save(self, folder: str | Path) -> tuple[Path, ...]:
        """Write the JSON file, the page and, with the extra ``pdf``, the sheets into a folder.

        All or none of them; the paths written are given back.

        Raises
        ------
        OutputRefused
            A folder that cannot be written to.
        """
        name = self.verb.replace("-", "_")
        files = {
            f"{name}.json": (self.plan.model_dump_json(indent=1) + "\n").encode(),
            f"{name}.html": self.page().encode(),
        }
        if pdf_ready():
            files[f"{name}.pdf"] = self.sheets()
        OutputSet(Path(folder), self.verb, tuple(files)).write(files)
        return tuple(Path(folder) / file for file in files)

    def __repr__(self) -> str:
        words = self.verb.replace("-", " ")
        if isinstance(self.plan, WeekPlan):
            joints = sum(len(morning.services) for morning in self.plan.mornings)
            what = f"{len(self.plan.mornings)} mornings, {joints} joints"
        else:
            what = f"{self.plan.learner} with {self.plan.mentor}, {len(self.plan.stops)} machines"
        return f"<{words} at {self.plan.site!r} from {self.plan.at[:10]}: {what}>"

    def _repr_html_(self) -> str:
        """The page in a frame of its own, for a notebook."""
        page = escape(self.page(), quote=True)
        return f'<iframe srcdoc="{page}" width="100%" height="600"></iframe>'


def plan_week(
    site: OpenSite,
    at: datetime | str | None = None,
    *,
    mornings: int = 7,
    seed: int = 1,
    cores: int | None = None,
) -> Page:
    """The mornings ahead from a moment (default: the site's own), with a round for each.

    Raises
    ------
    UnfitProblem
        No morning, or too many.
    """
    site = site.recorded(at)
    when = site.moment(at)
    span = span_of(
        site.record,
        when,
        mornings=mornings,
        settings=WeekSettings(seed=seed, trial_rounds=trial_rounds(site.record)),
    )
    with at_most_cores(cores):
        week = week_record(span, plan=round_planner(site.record, seed=seed))
    return Page(
        week,
        site,
        "week",
        lambda: week_html(week, site.record),
        lambda: week_pdf(week, site.record),
    )


def plan_first_day(
    site: OpenSite,
    at: datetime | str | None = None,
    *,
    learner: str | None = None,
    mentor: str | None = None,
    seed: int = 1,
    cores: int | None = None,
) -> Page:
    """A new technician's first day from a moment (default: the site's own).

    Raises
    ------
    UnknownName
        A learner or mentor that the site does not have.
    """
    site = site.recorded(at)
    pair = pairing(site.record, learner=learner, mentor=mentor)
    settings = DaySettings(seed=seed)
    with at_most_cores(cores):
        first = first_day_record(site.record, site.moment(at), pair=pair, settings=settings)
    return Page(
        first,
        site,
        "first-day",
        lambda: first_day_html(first, site.record),
        lambda: first_day_pdf(first, site.record),
    )
