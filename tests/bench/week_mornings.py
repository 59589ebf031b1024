"""A week planned ahead, then a round on each of its mornings, booking each, through the verbs.

``python -m tests.bench.week_mornings SITE``

A joint that the week has on another morning than the round differs because the levelling moved it
(the week says so), or because it was done on another morning than the week had it, from which its
next one follows. Any other difference ends the run.
"""

import argparse
import json
import shutil
import tempfile
from datetime import datetime, timedelta
from pathlib import Path

from greaseroute.plan.round import RoundPlan
from greaseroute.site.folder import read_site
from tests.bench.month import verb
from tests.ledger.cards import card_of


def planned_by_week(folder, out, at):
    """For each morning of the week (unit, joint) -> how many mornings it was moved."""
    verb("week", folder, "--out", out, "--at", at.isoformat(), "--weeks", "50")
    week = json.loads((out / "week.json").read_text(encoding="utf-8"))
    return [
        {(s["unit"], s["joint"]): s["days_moved"] for s in morning["services"]}
        for morning in week["mornings"]
    ]


def walked(folder, work, at):
    """The joints of one morning's round; all of it is booked as done."""
    out = work / "out"
    verb("round", folder, "--out", out, "--at", at.isoformat())
    plan = RoundPlan.model_validate_json((out / "round.json").read_text(encoding="utf-8"))
    cards = []
    for technician in plan.technicians:
        path = work / f"{technician.name}.json"
        path.write_text(json.dumps(card_of(plan, technician=technician.name)), encoding="utf-8")
        cards.append(path)
    finish = max(datetime.fromisoformat(t.finish) for t in plan.technicians)
    verb("record", folder, *cards, "--at", (finish + timedelta(hours=4)).isoformat())
    return {
        (stop.unit, task.joint)
        for technician in plan.technicians
        for stop in technician.stops
        for stand in stop.stands
        for task in stand.fittings
    }


def compare(week, rounds):
    """(same, moved by the levelling, follows from an earlier difference, without a reason)."""
    same = moved = follows = 0
    unexplained, apart = [], set()
    for day, (planned, done) in enumerate(zip(week, rounds, strict=True)):
        same += len(set(planned) & done)
        for key in set(planned) ^ done:
            levelled = any(key in other and other[key] for other in week)
            if levelled:
                moved += 1
            elif key in apart:
                follows += 1
            else:
                unexplained.append((day, key, "round" if key in done else "week"))
            apart.add(key)
    return same, moved, follows, unexplained


def run(site_folder, *, mornings=7):
    with tempfile.TemporaryDirectory() as place:
        work = Path(place)
        folder = work / "site"
        shutil.copytree(site_folder, folder)
        at = read_site(folder).planned_for
        verb("record", folder, "--at", at.isoformat())
        week = planned_by_week(folder, work / "week", at)
        rounds = [walked(folder, work, at + timedelta(days=k)) for k in range(mornings)]
        return compare(week, rounds)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("site", type=Path)
    same, moved, follows, unexplained = run(parser.parse_args().site)
    print(f"the same: {same}; moved by the levelling: {moved}; following from that: {follows}")
    for day, key, where in unexplained:
        print(f"no reason: morning {day + 1}, {key}, in the {where} alone")
    raise SystemExit(bool(unexplained))


if __name__ == "__main__":
    main()
