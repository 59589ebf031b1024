"""``greaseroute audit SITE DIR``: prove a plan against the raw records of its site."""

import argparse
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from greaseroute.cli.options import add_options

if TYPE_CHECKING:
    from collections.abc import Sequence

    from greaseroute.audit.basis import Asked
    from greaseroute.audit.finding import AuditReport
    from greaseroute.plan.round import RoundPlan
    from greaseroute.site.model import Site

HELP = "prove a plan against the raw records of its site"

ROUND, WEEK, FIRST_DAY = "round.json", "week.json", "first_day.json"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The site, the folder with the plan, and what tells of a round under way."""
    add_options(parser, "site", "format")
    parser.add_argument(
        "plans", metavar="DIR", type=Path, help="folder that the plan was written to"
    )
    parser.add_argument(
        "--done-so-far", metavar="FILE", type=Path,
        help="where the plan is the rest of a round: the file it was planned with",
    )  # fmt: skip
    parser.add_argument(
        "--plan", metavar="FILE", type=Path,
        help="the round.json that was under way then; only with --done-so-far",
    )  # fmt: skip
    parser.add_argument(
        "--week", metavar="FILE", type=Path,
        help="where the plan is the round of a week's morning: the week.json it was planned with",
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Audit every plan in the folder and print the findings; 1 where there are any."""
    from greaseroute.audit.report import finding_lines, summing_up

    reports = _reports(args)
    if args.format == "json":
        print(_json(reports))
    else:
        for report in reports:
            print("\n".join([*finding_lines(report), summing_up(report)]))
    return 0 if all(report.good for report in reports) else 1


def _reports(args: argparse.Namespace) -> "list[AuditReport]":
    """The audit of every plan in the folder: a round, a week, a first day. Raises BadInput."""
    from greaseroute.audit.plan_file import read_plan

    found = [name for name in (ROUND, WEEK, FIRST_DAY) if (args.plans / name).is_file()]
    reports = []
    for name in found or [ROUND]:
        path = args.plans / name
        if name == WEEK:
            reports.append(_week_report(args, path))
        elif name == FIRST_DAY:
            reports.append(_first_day_report(args, path))
        else:
            from greaseroute.audit.audit import audit_round
            from greaseroute.plan.round import RoundPlan

            plan = read_plan(path, RoundPlan)
            now, asked = _asked(args, _site_at(args.site, plan.at), plan)
            reports.append(audit_round(now, plan, asked=asked, file=name))
    return reports


def _week_report(args: argparse.Namespace, path: Path) -> "AuditReport":
    """The audit of a week, by the calendar that it was planned with."""
    from dataclasses import replace
    from datetime import date

    from greaseroute.audit.plan_file import read_plan
    from greaseroute.audit.week import audit_week
    from greaseroute.cli.on_record import on_record
    from greaseroute.plan.week import WeekPlan
    from greaseroute.site.work_days import WorkDays

    week = read_plan(path, WeekPlan)
    holidays = tuple(date.fromisoformat(day) for day in week.holidays)
    own = replace(_site_at(args.site, week.at), work_days=WorkDays(week.days_off, holidays))
    now = on_record(own, args.site, datetime.fromisoformat(week.at))[0]
    return audit_week(now, week, file=WEEK)


def _first_day_report(args: argparse.Namespace, path: Path) -> "AuditReport":
    from greaseroute.audit.first_day import audit_first_day
    from greaseroute.audit.plan_file import read_plan
    from greaseroute.cli.on_record import on_record
    from greaseroute.plan.first_day import FirstDay

    first = read_plan(path, FirstDay)
    site = _site_at(args.site, first.at)
    now = on_record(site, args.site, datetime.fromisoformat(first.at))[0]
    return audit_first_day(now, first, file=FIRST_DAY)


def _site_at(folder: Path, at: str) -> "Site":
    """The site of a folder for a plan of that moment. Raises BadInput."""
    from greaseroute.site.folder import read_site

    return read_site(folder, now=datetime.fromisoformat(at))


def _asked(args: argparse.Namespace, site: "Site", plan: "RoundPlan") -> "tuple[Site, Asked]":
    """The site as the plan found it, and what was asked for. Raises UnknownName."""
    from greaseroute.audit.basis import Asked
    from greaseroute.cli.on_record import on_record
    from greaseroute.errors import UnknownName

    if plan.of_week:
        return _asked_by_week(args, site, plan)
    if not plan.rest_of_round_from and args.done_so_far is None:
        return on_record(site, args.site, datetime.fromisoformat(plan.at))[0], Asked()
    if not plan.rest_of_round_from or args.done_so_far is None:
        rest = f"the rest of a round, from {plan.rest_of_round_from}"
        raise UnknownName(
            ROUND, rest if plan.rest_of_round_from else "a whole round",
            limit="a rest with --done-so-far FILE, a whole round without",
            next_step="name the file that the rest was planned with, or leave it out",
        )  # fmt: skip
    from greaseroute.cli.under_way import as_asked, under_way  # slow to import

    args.at = datetime.fromisoformat(plan.rest_of_round_from)
    way = under_way(args, site)
    return way.site, as_asked(way)


def _asked_by_week(
    args: argparse.Namespace, site: "Site", plan: "RoundPlan"
) -> "tuple[Site, Asked]":
    """The same for a round of a week's morning. Raises UnknownName, BadInput."""
    from greaseroute.audit.of_week import asked_by_week
    from greaseroute.audit.plan_file import read_plan
    from greaseroute.cli.on_record import on_record
    from greaseroute.errors import UnknownName
    from greaseroute.plan.week import WeekPlan

    if args.week is None:
        raise UnknownName(
            ROUND, f"a round of the week from {plan.of_week[:10]}",
            limit="such a round with --week FILE",
            next_step="name the week.json that it was planned with",
        )  # fmt: skip
    now = on_record(site, args.site, datetime.fromisoformat(plan.at))[0]
    return asked_by_week(now, plan, read_plan(args.week, WeekPlan))


def _json(reports: "Sequence[AuditReport]") -> str:
    import json

    listed = [report.model_dump(mode="json") for report in reports]
    return json.dumps({"reports": listed}, indent=1, ensure_ascii=False)
