"""A week planned ahead, then `round --week` on each of its mornings, booking each, by the verbs.

``python -m tests.bench.week_mornings SITE [--mornings N] [--seeds N]``

First with the hours that the week expects: each morning's joints, strokes and cartridges are to be
those of the week. Then, with ``--seeds``, so many weeks whose machines work other hours (gamma, a
quarter about the mean, booked as meter readings): the strokes of the week beside P10 and P90.
"""

import argparse
import json
import random
import re
import shutil
import tempfile
from collections import Counter
from datetime import datetime, timedelta
from pathlib import Path

from greaseroute.dose.cartridges import cartridge_strokes
from greaseroute.ledger.events import MeterRead
from greaseroute.ledger.store import FILE, open_ledger
from greaseroute.plan.round import RoundPlan
from greaseroute.site.folder import read_site
from tests.bench.month import verb
from tests.ledger.cards import card_of

SPREAD = 0.25


def planned_week(folder, out, at, mornings):
    """The week as written."""
    verb("week", folder, "--out", out, "--at", at.isoformat(), "--mornings", str(mornings))
    return json.loads((out / "week.json").read_text(encoding="utf-8"))


def walked(folder, work, at):
    """The plan of one morning's round of the week; all of it is booked as done."""
    out = work / "out"
    verb("round", folder, "--out", out, "--at", at.isoformat(), "--week", work / "week/week.json")
    plan = RoundPlan.model_validate_json((out / "round.json").read_text(encoding="utf-8"))
    cards = []
    for technician in plan.technicians:
        path = work / f"{technician.name}.json"
        path.write_text(json.dumps(card_of(plan, technician=technician.name)), encoding="utf-8")
        cards.append(path)
    finish = max(datetime.fromisoformat(t.finish) for t in plan.technicians)
    verb("record", folder, *cards, "--at", (finish + timedelta(hours=4)).isoformat())
    return plan


def counted(plan):
    """(strokes, cartridges) by grease."""
    strokes, cartridges = Counter(), Counter()
    for technician in plan.technicians:
        for stop in technician.stops:
            for task in (f for stand in stop.stands for f in stand.fittings):
                strokes[task.grease] += task.strokes
                cartridges[task.grease] += task.put_in
    return strokes, cartridges


def read_meters(folder, at, meters):
    """Book what every meter shows on a morning."""
    events = [
        MeterRead(id=f"m-{unit}-{at:%Y%m%d}", at=at, unit=unit, meter_h=round(hours, 2))
        for unit, hours in meters.items()
    ]
    with open_ledger(folder / FILE) as ledger:
        ledger.append(events, received=at)


class Hours:
    """Hours of each machine day by day: as expected (no seed), or drawn."""

    def __init__(self, site, week, seed):
        self.mean = {h["unit"]: h["mean_h"] for h in week["hours"]}
        self.meters = {unit.unit: unit.meter_h for unit in site.units}
        self.rng = None if seed is None else random.Random(seed)

    def work(self):
        """One day."""
        for unit, mean in self.mean.items():
            hours = mean
            if self.rng is not None and mean > 0:
                hours = self.rng.gammavariate(1 / SPREAD**2, mean * SPREAD**2)
            self.meters[unit] += hours


def run(site_folder, *, mornings, seed):
    """(week, plans) of one week, worked by the hours of a seed."""
    with tempfile.TemporaryDirectory() as place:
        work = Path(place)
        folder = work / "site"
        shutil.copytree(site_folder, folder)
        site = read_site(folder)
        at = site.planned_for
        verb("record", folder, "--at", at.isoformat())
        week = planned_week(folder, work / "week", at, mornings)
        hours, plans = Hours(site, week, seed), []
        for morning in week["mornings"]:
            begin = datetime.fromisoformat(morning["at"])
            if plans:
                hours.work()
                read_meters(folder, begin, hours.meters)
            plans.append(walked(folder, work, begin))
            print(f"  {morning['at'][:10]}: {plans[-1].notes[0]}", flush=True)
        return week, plans


def unlike(week, plans):
    """Mornings whose strokes or cartridges are not those of the week."""
    for morning, plan in zip(week["mornings"], plans, strict=True):
        strokes, cartridges = counted(plan)
        told = Counter(morning["strokes"]), Counter(morning["cartridges"])
        if (strokes, +cartridges) != (told[0], +told[1]):
            yield morning["at"][:10], (strokes, +cartridges), (told[0], +told[1])


def unexplained(week, plans):
    """Mornings with a joint that differs from the week's without a reason in the plan.

    Joints beside the week's are counted in the first note; of the week's own, each is pumped, or
    left out with its reason, or of a unit that is gone, or counted as greased since.
    """
    for morning, plan in zip(week["mornings"], plans, strict=True):
        planned = {(s["unit"], s["joint"]) for s in morning["services"]}
        asked = {(s.unit, f.joint) for t in plan.technicians for s in t.stops
                 for stand in s.stands for f in stand.fittings}  # fmt: skip
        asked |= {(left.unit, left.joint) for left in plan.left if left.reason}
        more, fewer = (
            sum(int(n) for n in re.findall(rf"(\d+) joints? \([^)]*\) {word}", plan.notes[0]))
            for word in ("more", "fewer")
        )
        gone = re.search(r"not at (.*?): gone", plan.notes[0])
        missing = {key for key in planned - asked if not gone or key[0] not in gone[1]}
        if (len(asked - planned), len(missing)) != (more, fewer):
            yield morning["at"][:10], asked - planned, missing, plan.notes[0]


def inside(site, week, plans):
    """By grease: grams of the week beside P10 and P90, and whether they lie between."""
    strokes = sum((counted(plan)[0] for plan in plans), Counter())
    share = {
        g.name: g.cartridge_g * g.usable_share / cartridge_strokes(gun, g)
        for gun in site.guns
        for g in site.greases
        if g.name == gun.grease
    }
    found = {}
    for grease in week["greases"]:
        planned = sum(m["strokes"].get(grease["grease"], 0) for m in week["mornings"])
        beside = strokes[grease["grease"]] - planned
        grams = grease["planned_g"] + beside * share[grease["grease"]]
        low, high = grease["grams"]["p10"], grease["grams"]["p90"]
        found[grease["grease"]] = low - 0.5, grams, high + 0.5
    return found


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("site", type=Path)
    parser.add_argument("--mornings", type=int, default=7)
    parser.add_argument("--seeds", type=int, default=0)
    args = parser.parse_args()
    week, plans = run(args.site, mornings=args.mornings, seed=None)
    different = list(unlike(week, plans))
    for day, done, told in different:
        print(f"{day}: {done} by the round, {told} by the week")
    print(f"{len(plans) - len(different)} of {len(plans)} mornings with the week's strokes "
          "and cartridges")  # fmt: skip
    silent = list(unexplained(week, plans))
    for day, more, missing, note in silent:
        print(f"{day}: {sorted(more)} more, {sorted(missing)} missing; told: {note}")
    print(f"{len(silent)} mornings with a joint that differs without a reason")
    fine = 0
    for seed in range(args.seeds):
        week, plans = run(args.site, mornings=args.mornings, seed=seed)
        found = inside(read_site(args.site), week, plans)
        within = all(low <= grams <= high for low, grams, high in found.values())
        fine += within
        print(f"seed {seed}: {'inside' if within else 'outside'} {found}", flush=True)
    if args.seeds:
        print(f"{fine} of {args.seeds} seeds inside P10 to P90")
    raise SystemExit(bool(different or silent))


if __name__ == "__main__":
    main()
