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

ROUND = "round.json"


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
    from greaseroute.site.folder import read_site

    reports = _reports(args, read_site(args.site))
    if args.format == "json":
        print(_json(reports))
    else:
        for report in reports:
            print("\n".join([*finding_lines(report), summing_up(report)]))
    return 0 if all(report.good for report in reports) else 1


def _reports(args: argparse.Namespace, site: "Site") -> "list[AuditReport]":
    from greaseroute.audit.audit import audit_round
    from greaseroute.audit.plan_file import read_plan
    from greaseroute.plan.round import RoundPlan

    plan = read_plan(args.plans / ROUND, RoundPlan)
    now, asked = _asked(args, site, plan)
    return [audit_round(now, plan, asked=asked, file=ROUND)]


def _asked(args: argparse.Namespace, site: "Site", plan: "RoundPlan") -> "tuple[Site, Asked]":
    """The site as the plan found it, and what was asked for. Raises UnknownName."""
    from greaseroute.audit.basis import Asked
    from greaseroute.cli.on_record import on_record
    from greaseroute.cli.under_way import as_asked, under_way
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
