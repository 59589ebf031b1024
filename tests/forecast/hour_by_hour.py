"""A week walked hour by hour from the raw site, beside the plan: what is outside its tolerance,
forgotten or done twice. Shares nothing with the planner.
"""

import random
from collections import defaultdict
from dataclasses import replace
from datetime import datetime, timedelta

from greaseroute.plan.round import Bound, LeftOut, RoundPlan, TechnicianPlan
from greaseroute.site.work_days import WorkDays

EVEN = 1e-6
NAMES = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


class Joint:
    """One joint as it wears: hours and days since it was greased, None where nobody knows."""

    def __init__(self, unit, joint, factor):
        every = joint.interval
        self.hours_a_day = unit.hours_per_day
        self.limit_h = None if every.hours is None else every.hours * factor
        self.limit_days = None if every.days is None else every.days * factor
        self.every_shift = every.every_shift
        self.h, self.on = None, None

    def used(self, day):
        """Share of the interval used; None where no service is known."""
        if self.on is None:
            return None
        shares = [0.0]
        if self.limit_h is not None:
            shares.append(self.h / self.limit_h)
        if self.limit_days is not None:
            shares.append((day - self.on).days / self.limit_days)
        return max(shares)

    def owed(self, day, *, ahead_h, next_day):
        """Whether the rules of the site make it due on a morning."""
        if self.on is None or (self.every_shift and day > self.on):
            return True
        if self.limit_h is not None and self.h >= self.limit_h - ahead_h - EVEN:
            return True
        if self.limit_days is None:
            return False
        passed = (day - self.on).days
        ahead = (next_day - day).days if ahead_h > 0 else 0
        return passed >= self.limit_days - EVEN or passed > self.limit_days - ahead + EVEN

    def work(self):
        """A day's hours, one after the other."""
        left = self.hours_a_day
        while left > EVEN:
            self.h = None if self.h is None else self.h + min(1.0, left)
            left -= 1.0

    def grease(self, day):
        self.h, self.on = 0.0, day


def joints_of(site, first):
    """Every pumped joint of the site as it stands on the first morning."""
    factors = {s.name: s.interval_factor for s in site.severities}
    found = {}
    for unit in site.units:
        factor = factors.get(unit.severity, 1.0)
        for joint in site.machine(unit).joints:
            if joint.never_pump or joint.central or joint.interval is None:
                continue
            state = Joint(unit, joint, factor)
            names = {joint.name.lower(), joint.interval.label.lower()}
            if joint.interval.hours is not None:
                names.add(f"{joint.interval.hours:g} h")
            last = [
                s
                for s in site.last_services
                if s.unit == unit.unit and s.joint.lower() in names and s.at <= first
            ]
            if last:
                newest = max(last, key=lambda s: s.at)
                state.on = newest.at.astimezone(first.tzinfo).date()
                state.h = unit.meter_h - newest.meter_h
            found[unit.unit, joint.name] = state
    return found


def works(site, day):
    """Whether a day is worked."""
    return NAMES[day.weekday()] not in site.work_days.days_off and (
        day not in site.work_days.holidays
    )


def faults(site, week):
    """Every joint outside its tolerance without being named, forgotten, or done twice."""
    first = datetime.fromisoformat(week.mornings[0].at)
    planned_for = site.planned_for or first
    joints = joints_of(site, planned_for)
    # From the moment the meters were read to the first morning.
    day = planned_for.date()
    while day < first.date():
        if works(site, day):
            for joint in joints.values():
                joint.work()
        day += timedelta(days=1)
    return list(Walk(site, week, joints).run())


class Walk:
    """The days of a week one after the other, with what the plan says beside each joint."""

    def __init__(self, site, week, joints):
        self.site, self.week, self.joints = site, week, joints
        self.never = {(x.unit, x.joint) for x in week.mend_first if x.fitting is None}
        self.never |= {(x.unit, x.joint) for x in week.no_gun}
        self.hard = {(x.unit, x.joint) for x in week.cannot_keep}
        self.mornings = {datetime.fromisoformat(m.at).date(): m for m in week.mornings}
        self.planned = defaultdict(list)
        for when, morning in self.mornings.items():
            for service in morning.services:
                self.planned[service.unit, service.joint].append((when, service))
        self.left = set()

    def run(self):
        day = min(self.mornings)
        while True:
            following = day + timedelta(days=1)
            while not works(self.site, following):
                following += timedelta(days=1)
            morning = self.mornings.get(day)
            keys = [] if morning is None else [(s.unit, s.joint) for s in morning.services]
            if morning is not None:
                self.left |= {(x.unit, x.joint) for x in morning.left}
            for key in sorted({k for k in keys if keys.count(k) > 1}):
                yield day, key, "planned twice on one morning"
            for key, joint in self.joints.items():
                yield from (
                    (day, key, what)
                    for what in self.amiss(day, key, joint, done=key in keys, following=following)
                )
            if morning is None:
                return
            for key in keys:
                self.joints[key].grease(day)
            self.left -= set(keys)
            self.wear(day, following)
            day = following

    def wear(self, day, until):
        while day < until:
            if works(self.site, day):
                for joint in self.joints.values():
                    joint.work()
            day += timedelta(days=1)

    def named(self, key, day):
        coming = next((s for when, s in self.planned[key] if when >= day), None)
        flags = coming is not None and (coming.backlog or coming.late or coming.over)
        return key in self.hard or key in self.left or flags

    def amiss(self, day, key, joint, *, done, following):
        """What is wrong with one joint on one morning."""
        if key in self.never:
            if done:
                yield "cannot be greased and is planned"
            return
        used, named = joint.used(day), self.named(key, day)
        if (used is None or used > 1 + self.week.late + EVEN) and not named:
            yield f"at {used} of its interval and not named"
        if day not in self.mornings:
            return
        owed = joint.owed(day, ahead_h=self.site.rules.look_ahead_h, next_day=following)
        if done and not owed and self.too_early(joint, used, following):
            yield f"at {used} of its interval already: twice"
        must = joint.every_shift or following not in self.mornings
        if must and owed and not done and not named:
            yield "owed on a morning after which it is too late, and not planned"

    def too_early(self, joint, used, following):
        """Whether a service could have waited, and is before its tolerance."""
        if used is None or used >= 1 - self.week.early - EVEN:
            return False
        hours = joint.hours_a_day
        by_h = 0.0 if joint.limit_h is None else (joint.h + hours) / joint.limit_h
        days = None if joint.on is None else (following - joint.on).days
        by_days = 0.0 if joint.limit_days is None else days / joint.limit_days
        return max(by_h, by_days) <= 1 + self.week.late + EVEN


class LeavesOut:
    """Stands in for the round engine: no walk, and a share of what it is asked for left out."""

    def __init__(self, seed, share, mend):
        self.rng, self.seed = random.Random(seed), seed
        self.share, self.mend = share, mend

    def is_broken(self, key):
        """Whether nobody can ever reach a joint: the same on every morning."""
        return random.Random(f"{self.seed} {key}").random() < self.mend

    def __call__(self, asked):
        return [self.plan(each) for each in asked]

    def plan(self, asked):
        left = []
        for item in asked.items:
            key = item.unit, item.joint
            if self.is_broken(key):
                left.append(_left(item, "arm 0.20 m too short"))
            elif self.rng.random() < self.share:
                left.append(_left(item, "not enough time before the shift (weight 200)"))
        at = asked.at.isoformat()
        technician = TechnicianPlan(
            name="A", walk_m=0, walk_s=0, work_s=0, start=at, finish=at, path=(), stops=()
        )
        return RoundPlan(
            site="x", at=at, seed=1, shift_start=at, technicians=(technician,), cartridges={},
            bound=Bound(lower_s=0, value_s=0, gap_pct=None, what="none"), left=tuple(left),
        )  # fmt: skip


def _left(item, reason):
    return LeftOut(unit=item.unit, joint=item.joint, reason=reason, critical=item.critical)


def varied(site, seed):
    """The site with other hours, days off and look-ahead, and some services not on record."""
    rng = random.Random(seed)
    off = rng.choice([(), (), ("sun",), ("sat", "sun"), ("wed",)])
    start = site.planned_for.date()
    holidays = tuple(
        sorted(
            {start + timedelta(days=rng.randint(1, 12)) for _ in range(rng.choice([0, 0, 1, 2]))}
        )
    )
    units = tuple(
        u.model_copy(update={"hours_per_day": rng.choice([0.0, 3.0, 6.0, 8.0, 9.5, 14.0, 20.0])})
        for u in site.units
    )
    kept = tuple(s for s in site.last_services if rng.random() < 0.8)
    rules = site.rules.model_copy(update={"look_ahead_h": rng.choice([0.0, 0.0, 4.0, 9.0])})
    return replace(
        site, units=units, last_services=kept, rules=rules, work_days=WorkDays(off, holidays)
    )


def first_day_off(site):
    """The first day off after the moment planned for, at its time; None where there is none."""
    days = (site.planned_for + timedelta(days=k) for k in range(8))
    return next((d for d in days if not works(site, d.date())), None)
