"""Weeks of small sites beside the best that any choice of mornings can do, in minutes as walked.

``python -m tests.bench.levelled_weeks [--sites N] [--first N]``

Every set of joints that a morning can be given is planned as a real round. Over these minutes a
program is laid with scipy's HiGHS: on each morning one set, each joint along the arcs of its
tolerance, least longest morning. Its linear relaxation is the bound, its solution in whole sets the
best week there is. Both are held against the longest morning of the week as it is planned.
"""

import argparse
import random
from dataclasses import replace
from datetime import timedelta
from itertools import chain, combinations

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import coo_matrix

from greaseroute.catalogue.joint import Interval
from greaseroute.forecast.round_planner import round_planner, trial_rounds
from greaseroute.forecast.week import WeekSettings, course_of, plan_week, span_of
from greaseroute.forecast.week_rounds import Asked
from greaseroute.forecast.windows import BEFORE
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.site.fleet import LastService
from tests.rounds.yards import AT, GUNS, random_yard

EVERY_H = (20.0, 30.0, 40.0, 50.0)
MORNINGS, MOST_JOINTS = 5, 7


def small_site(seed):
    """Two or three machines with two or three joints each, greased some days ago."""
    rng = random.Random(seed)
    guns = tuple(gun.model_copy(update={"change_s": 0.0}) for gun in GUNS)
    yard = random_yard(np.random.default_rng(seed), rng.choice((2, 3)), guns=guns)
    types, last, units = {}, [], []
    first = plan_round(yard, RoundRequest(AT), effort=Effort(iterations=100, prove=False))
    left = {(each.unit, each.joint) for each in first.left}
    for k, unit in enumerate(yard.units):
        name = f"{unit.type} {k}"
        machine = yard.types[unit.type]
        joints = [j for j in machine.joints if plain(j) and (unit.unit, j.name) not in left]
        most = 3 if len(yard.units) == 2 else 2 + (k == 0)
        kept = tuple(
            j.model_copy(update={"interval": Interval(hours=rng.choice(EVERY_H))})
            for j in rng.sample(joints, rng.randint(2, most))
        )
        types[name] = machine.model_copy(update={"name": name, "joints": kept})
        units.append(unit.model_copy(update={"type": name, "hours_per_day": 8.0}))
        for joint in kept:
            days = rng.randint(0, int(joint.interval.hours // 8))
            last.append(LastService(unit=unit.unit, joint=joint.name, at=AT - timedelta(days=days),
                                    meter_h=1000.0 - 8.0 * days))  # fmt: skip
    return replace(yard, units=tuple(units), types=types, last_services=tuple(last))


def plain(joint):
    """A joint that is pumped by the technician, without a procedure."""
    return not (joint.never_pump or joint.central or joint.procedure or joint.interval is None
                or joint.done_by == "operator")  # fmt: skip


class Sets:
    """Minutes of the real round for a set of joints (rows of the span)."""

    def __init__(self, span, maker):
        self.at, self.rows, self.minutes = span.calendar.mornings[0], maker.rows, {frozenset(): 0.0}
        self.plan = round_planner(span.site, seed=span.settings.seed)

    def of(self, rows):
        if rows not in self.minutes:
            update = {"due": True, "status": "due", "due_fittings": ()}
            items = tuple(self.rows.items[r].model_copy(update=update) for r in sorted(rows))
            (plan,) = self.plan([Asked(self.at, items)])
            if plan.left:
                raise ValueError(plan.left[0].reason)
            spent = (t.walk_s + t.wait_s + t.work_s for t in plan.technicians)
            self.minutes[rows] = sum(spent) / 60
        return self.minutes[rows]


def arcs_of(maker, days):
    """For each joint its arcs {(from, to)}, from ``BEFORE`` or a morning, to a morning or the
    end."""
    found = []
    for course in maker.courses(apart=True):
        found.append({(b, m) for b, arcs in course.arcs.items() for m in arcs.to})
        assert max(m for _, m in found[-1]) == days
    return found


class Program:
    """The program over sets: rows as sparse entries."""

    def __init__(self, arcs, days, minutes_of):
        self.cost, self.entries, self.low, self.high = [1.0], [], [], []
        self.whole = [0]
        longest = [self.row(-np.inf, 0.0) for _ in range(days)]
        for row in longest:
            self.entries.append((row, 0, -1.0))
        one = [self.row(1.0, 1.0) for _ in range(days)]
        serve = {(k, m): self.row(0.0, 0.0) for k in range(len(arcs)) for m in range(days)}
        for k, mine in enumerate(arcs):
            begins = sorted({b for b, _ in mine})
            keep = {b: self.row(float(b == BEFORE), float(b == BEFORE)) for b in begins}
            for b, m in sorted(mine):
                column = self.column(whole=0)
                self.entries.append((keep[b], column, 1.0))
                if m < days:
                    self.entries += [(keep[m], column, -1.0), (serve[k, m], column, 1.0)]
        for m in range(days):
            can = [k for k, mine in enumerate(arcs) if any(to == m for _, to in mine)]
            for some in chain.from_iterable(combinations(can, n) for n in range(len(can) + 1)):
                column = self.column(whole=1)
                self.entries += [(one[m], column, 1.0),
                                 (longest[m], column, minutes_of(frozenset(some)))]  # fmt: skip
                self.entries += [(serve[k, m], column, -1.0) for k in some]

    def row(self, low, high):
        self.low.append(low)
        self.high.append(high)
        return len(self.low) - 1

    def column(self, *, whole):
        self.cost.append(0.0)
        self.whole.append(whole)
        return len(self.cost) - 1

    def bounds(self):
        """(value of the linear program, best in whole sets), minutes."""
        rows, columns, values = zip(*self.entries, strict=True)
        table = coo_matrix((values, (rows, columns)), (len(self.low), len(self.cost))).tocsr()
        low, high = np.array(self.low), np.array(self.high)
        same = low == high
        linear = linprog(self.cost, A_ub=table[~same], b_ub=high[~same], A_eq=table[same],
                         b_eq=high[same])  # fmt: skip
        assert linear.status == 0, linear.message
        best = milp(self.cost, constraints=LinearConstraint(table, low, high), bounds=Bounds(0),
                    integrality=self.whole)  # fmt: skip
        assert best.status == 0, best.message
        return linear.fun, best.fun


def compared(seed):
    """(linear bound, best week, week as planned) in minutes."""
    site = small_site(seed)
    settings = WeekSettings(weeks=2, trial_rounds=trial_rounds(site))
    span = span_of(site, AT, mornings=MORNINGS, settings=settings)
    maker = course_of(span).maker
    sets = Sets(span, maker)
    week = plan_week(span, plan=round_planner(site, seed=settings.seed))
    assert not any(m.left for m in week.mornings)
    program = Program(arcs_of(maker, MORNINGS), MORNINGS, sets.of)
    linear, best = program.bounds()
    row = {(i.unit, i.joint): r for r, i in enumerate(maker.rows.items)}
    walked = [m.minutes for m in week.mornings]
    for morning in week.mornings:
        mine = frozenset(row[s.unit, s.joint] for s in morning.services)
        assert abs(sets.of(mine) - morning.minutes) < 0.05
    return linear, best, max(walked)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sites", type=int, default=30)
    parser.add_argument("--first", type=int, default=0)
    args = parser.parse_args()
    over_linear, over_best = [], []
    for seed in range(args.first, args.first + args.sites):
        try:
            linear, best, ours = compared(seed)
        except ValueError as error:
            print(f"site {seed}: not compared, {error}", flush=True)
            continue
        over_linear.append(100 * (ours / linear - 1))
        over_best.append(100 * (ours / best - 1))
        print(f"site {seed}: linear program {linear:.2f} min, best week {best:.2f}, planned "
              f"{ours:.2f}: {over_linear[-1]:.1f} % and {over_best[-1]:.1f} % over",
              flush=True)  # fmt: skip
    for name, over in (("linear program", over_linear), ("best week", over_best)):
        print(f"{len(over)} sites, over the {name}: mean {np.mean(over):.2f} %, worst "
              f"{max(over):.2f} %, {sum(x <= 3 for x in over)} within 3 %")  # fmt: skip


if __name__ == "__main__":
    main()
