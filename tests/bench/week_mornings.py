"""A week planned ahead, then `round --week` on each of its mornings, booking each, by the verbs.

``python -m tests.bench.week_mornings SITE [--mornings N] [--seeds N] [--unwalked N [--week FILE]]``

First with the hours that the week expects: each morning's joints, strokes and cartridges are to be
those of the week. Then, with ``--seeds``, so many weeks whose machines work other hours (gamma with
the mean and spread that the week tells of each machine, booked as meter readings): the strokes of
the week beside P10 and P90.
With ``--unwalked`` alone so many of the latter without any walk: what each morning's round would be
asked for is taken as done, but what has to be mended first.
"""

import argparse
import json
import random
import re
import shutil
import tempfile
from collections import Counter
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from greaseroute.dose.cartridges import cartridge_strokes
from greaseroute.forecast.joints import joint_rows
from greaseroute.forecast.one_morning import morning_work
from greaseroute.ledger.events import MeterRead
from greaseroute.ledger.store import FILE, open_ledger
from greaseroute.plan.round import RoundPlan
from greaseroute.plan.week import WeekPlan
from greaseroute.site.fleet import LastService
from greaseroute.site.folder import read_site
from tests.bench.month import verb
from tests.ledger.cards import card_of


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
        self.told = {h["unit"]: (h["mean_h"], h["sd_h"]) for h in week["hours"]}
        self.meters = {unit.unit: unit.meter_h for unit in site.units}
        self.rng = None if seed is None else random.Random(seed)

    def work(self):
        """One day."""
        for unit, (mean, sd) in self.told.items():
            hours = mean
            if self.rng is not None and mean > 0 and sd > 0:
                hours = self.rng.gammavariate((mean / sd) ** 2, sd**2 / mean)
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
        planned = {(s["unit"], s["joint"]) for s in (*morning["services"], *morning["tried"])}
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


def unwalked(site, week, seed):
    """Strokes by grease of a week worked by the hours of a seed, and of the week as planned, both
    by the gun taken first; all that a morning asks for is done, but what has to be mended first."""
    first = datetime.fromisoformat(week.at)
    rows = joint_rows(site, first)
    takes = {(i.unit, i.joint): (s.grease.name, s.strokes, [f.name for f in j.fittings])
             for i, s, j in zip(rows.items, rows.services, rows.joints, strict=True)}  # fmt: skip
    broken = {(x.unit, x.joint, x.fitting) for x in week.mend_first}
    hours, done, strokes, planned = Hours(site, week.model_dump(), seed), [], Counter(), Counter()
    for number, morning in enumerate(week.mornings):
        at = datetime.fromisoformat(morning.at)
        if number:
            hours.work()
        units = tuple(
            u.model_copy(update={"meter_h": round(hours.meters[u.unit], 2)}) for u in site.units
        )
        now = replace(site, units=units, planned_for=at, meter_readings=(),
                      last_services=(*site.last_services, *done))  # fmt: skip
        for item in morning_work(now, week, at).items:
            grease, count, every = takes[item.unit, item.joint]
            names = [
                n
                for n in item.due_fittings or every
                if not {(item.unit, item.joint, n), (item.unit, item.joint, None)} & broken
            ]
            strokes[grease] += count * len(names) // len(every)
            done += [
                LastService(
                    unit=item.unit,
                    joint=item.joint,
                    fitting=name,
                    at=at,
                    meter_h=round(hours.meters[item.unit], 2),
                )
                for name in names
            ]
        for service in morning.services:
            grease, count, every = takes[service.unit, service.joint]
            names = [n for n in every if (service.unit, service.joint, n) not in broken]
            planned[grease] += count * len(names) // len(every)
    return strokes, planned


def inside_unwalked(site, week, seed):
    """The same as `inside` without any walk."""
    strokes, planned = unwalked(site, week, seed)
    share = {
        g.name: g.cartridge_g * g.usable_share / cartridge_strokes(gun, g)
        for gun in reversed(site.guns)
        for g in site.greases
        if g.name == gun.grease
    }
    return {
        g.grease: (g.grams.p10 - 0.5,
                   g.planned_g + (strokes[g.grease] - planned[g.grease]) * share[g.grease],
                   g.grams.p90 + 0.5)
        for g in week.greases
    }  # fmt: skip


def without_walks(folder, *, seeds, week_file, mornings):
    """Tell of so many weeks without any walk how many lie inside P10 to P90."""
    site = read_site(folder)
    if week_file is None:
        with tempfile.TemporaryDirectory() as place:
            planned_week(folder, Path(place) / "week", site.planned_for, mornings)
            told = (Path(place) / "week" / "week.json").read_text(encoding="utf-8")
    else:
        told = week_file.read_text(encoding="utf-8")
    week, fine, each = WeekPlan.model_validate_json(told), 0, Counter()
    strokes, planned = unwalked(site, week, None)
    print(f"by the hours expected: {dict(strokes)} strokes, the week {dict(planned)}")
    for seed in range(seeds):
        found = inside_unwalked(site, week, seed)
        within = all(low <= grams <= high for low, grams, high in found.values())
        fine += within
        each.update(g for g, (low, grams, high) in found.items() if low <= grams <= high)
        rounded = {g: tuple(round(x, 1) for x in three) for g, three in found.items()}
        print(f"seed {seed}: {'inside' if within else 'outside'} {rounded}", flush=True)
    print(f"{fine} of {seeds} seeds inside P10 to P90 with every grease, unwalked; {dict(each)}")
    return strokes == planned


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("site", type=Path)
    parser.add_argument("--mornings", type=int, default=7)
    parser.add_argument("--seeds", type=int, default=0)
    parser.add_argument("--unwalked", type=int, default=0)
    parser.add_argument("--week", type=Path)
    args = parser.parse_args()
    if args.unwalked:
        same = without_walks(args.site, seeds=args.unwalked, week_file=args.week,
                             mornings=args.mornings)  # fmt: skip
        raise SystemExit(not same)
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
