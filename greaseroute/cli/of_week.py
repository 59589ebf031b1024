"""What a round is asked for: all that is due, or the joints of a week's morning; and by whom."""

import argparse
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from greaseroute.plan.round import RoundPlan
    from greaseroute.plan.week import WeekPlan
    from greaseroute.rounds.request import Effort, RoundRequest
    from greaseroute.site.model import Site


@dataclass(frozen=True, slots=True)
class AskedRound:
    """A request with its effort, the week it comes from and what differs from that."""

    request: "RoundRequest"
    effort: "Effort"
    week: "WeekPlan | None" = None
    told: str = ""
    waiting: int = 0


def read_week(path: Path) -> "WeekPlan":
    """The week in a file. Raises BadInput."""
    from greaseroute.audit.plan_file import read_plan
    from greaseroute.plan.week import WeekPlan

    return read_plan(path, WeekPlan)


def present(site: "Site", absent: list[str]) -> tuple[str, ...] | None:
    """The technicians who are there; None where nobody is absent. Raises UnknownName."""
    from greaseroute.errors import UnknownName

    names = [t.name for t in site.technicians]
    for name in absent:
        if name not in names:
            raise UnknownName(
                "--absent", repr(name), limit=", ".join(names), next_step="see site.toml"
            )
    left = tuple(name for name in names if name not in absent)
    if not left:
        raise UnknownName(
            "--absent", "everybody", limit="fewer than all", next_step="leave somebody there"
        )
    return left if absent else None


def asked_of(args: argparse.Namespace, site: "Site", at: datetime) -> AskedRound:
    """The request of the options. Raises BadInput and UnknownName."""
    from greaseroute.rounds.request import Effort, RoundRequest

    crew = present(site, args.absent)
    effort = Effort(args.seed, limit_s=args.limit_s)
    looks, every = args.checks != "none", args.checks == "all"
    if args.week is None:
        return AskedRound(
            RoundRequest(at, with_looks=looks, every_look=every, technicians=crew), effort,
            told=f"{', '.join(args.absent)} absent" if args.absent else "",
        )  # fmt: skip
    from greaseroute.forecast.one_morning import morning_work
    from greaseroute.forecast.round_planner import week_effort

    week = read_week(args.week)
    work = morning_work(site, week, at)
    request = RoundRequest(
        at,
        work.items,
        with_looks=args.checks != "none",
        every_look=args.checks == "all",
        technicians=crew,
        guns=work.guns,
    )
    if args.limit_s is None:
        effort = week_effort(site, seed=week.seed, prove=True)
    absent = f"{', '.join(args.absent)} absent" if args.absent else ""
    told = "; ".join(t for t in (work.told, absent) if t)
    return AskedRound(request, effort, week, told, work.waiting)


def told_of_week(plan: "RoundPlan", asked: AskedRound) -> "RoundPlan":
    """The plan with a sentence that says what it does differently from the week."""
    if asked.week is None:
        note = f"{asked.told}." if asked.told else ""
        return plan.model_copy(update={"notes": (*plan.notes, note)}) if note else plan
    begun = asked.week.at[:10]
    note = (
        f"Differs from the week of {begun}: {asked.told}."
        if asked.told
        else f"As the week of {begun} has it."
    )
    if asked.waiting:
        note += f" {asked.waiting} joints due are not asked for: see mend first in the week."
    return plan.model_copy(update={"of_week": asked.week.at, "notes": (note, *plan.notes)})
