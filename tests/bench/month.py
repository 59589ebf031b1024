"""A simulated month through the verbs alone: plan, work with random exceptions, book, again.

``python -m tests.bench.month SITE --days 30 --seed 1``

The world is simulated hour by hour by code that shares nothing with the ledger or the due list:
machines work their hours (random, and read, or as the fleet list says), meters are replaced,
machines are away, technicians leave fittings out, change strokes, hand in files or receipts, some
of them twice. Every morning the due list of the verb must name exactly the fittings that this
simulation owes; the plan must hold each of them or say why not, and nothing that is not owed.
"""

import argparse
import contextlib
import io
import json
import random
import shutil
import sys
import tempfile
import time
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path

from greaseroute.cli.main import entry
from greaseroute.ledger.receipt import AS_PLANNED, COULD_NOT, Ticked, WalkTold, receipt_text
from greaseroute.plan.handed_out import plan_handed_out, round_id
from greaseroute.plan.round import RoundPlan
from greaseroute.site.folder import read_site
from tests.ledger.cards import card_of

BORDER_H = 0.051  # meters show tenths; a joint that near to its limit may be told either way
REASONS = ("does not take grease", "could not reach it", "machine was in use", "no time", "other")


@dataclass
class Fitting:
    """What the simulation knows of one fitting: when it was greased, hours worked since."""

    hours: float | None
    day: date | None
    limit_h: float | None
    limit_days: float | None
    every_shift: bool


@dataclass
class Machine:
    """A machine of the simulation: the meter it shows, its fittings, where it is."""

    name: str
    a_day_h: float
    meter_h: float
    fittings: dict[tuple[str, str], Fitting] = field(default_factory=dict)
    away_until: datetime | None = None

    def work(self, hours: float) -> None:
        self.meter_h = round(self.meter_h + hours, 6)
        for each in self.fittings.values():
            if each.hours is not None:
                each.hours = round(each.hours + hours, 6)


class World:
    """All machines, the clock, and the rules by which joints fall due."""

    def __init__(self, site, seed):
        self.site, self.rng = site, random.Random(seed)
        self.now = site.planned_for
        self.ahead_h = site.rules.look_ahead_h
        hour, minute = map(int, site.shift_start.split(":"))
        self.shift = timedelta(hours=hour, minutes=minute)
        factors = {s.name: s.interval_factor for s in site.severities}
        self.machines = {u.unit: self._machine(u, factors.get(u.severity, 1.0)) for u in site.units}

    def _machine(self, unit, factor):
        machine = Machine(unit.unit, unit.hours_per_day, unit.meter_h)
        kind = self.site.machine(unit)
        services = [s for s in self.site.last_services if s.unit == unit.unit]
        for joint in kind.joints:
            if not joint.by_hand:
                continue
            every = joint.interval
            names = {joint.name.lower(), every.label.lower()}
            names |= {f"{every.hours:g} h"} if every.hours else set()
            mine = [s for s in services if s.joint.lower() in names]
            last = max(mine, key=lambda s: (s.at, s.meter_h), default=None)
            for fitting in joint.fittings:
                machine.fittings[joint.name, fitting.name] = Fitting(
                    hours=None if last is None else unit.meter_h - last.meter_h,
                    day=None if last is None else last.at.astimezone(self.now.tzinfo).date(),
                    limit_h=every.hours and every.hours * factor,
                    limit_days=every.days and every.days * factor,
                    every_shift=every.every_shift,
                )
        return machine

    def here(self, machine):
        return machine.away_until is None or self.now >= machine.away_until

    def owed(self):
        """(unit, joint, fitting) -> True, False, or None within the meters' tenths."""
        return {
            (m.name, *key): self._owes(f)
            for m in self.machines.values()
            if self.here(m)
            for key, f in m.fittings.items()
        }

    def _owes(self, each):
        if each.hours is None:
            return True
        days = (self.now.date() - each.day).days
        found = []
        if each.limit_h is not None:
            left = each.limit_h - max(self.ahead_h, 0.0) - each.hours
            found.append(None if abs(left) < BORDER_H else left < 0)
        if each.limit_days is not None:
            ahead = 1 if self.ahead_h > 0 else 0
            found.append(
                each.limit_days - days < max(ahead, 1e-9) - 1e-9 or each.limit_days <= days
            )
        if each.every_shift:
            found.append(days >= 1)
        return True if True in found else None if None in found else False

    def run_to(self, moment, worked):
        """Hour by hour to ``moment``; ``worked`` gives each machine's hours of this day."""
        while self.now < moment:
            step = min(timedelta(hours=1), moment - self.now)
            since = self.now - self.now.replace(hour=0, minute=0, second=0) - self.shift
            for machine in self.machines.values():
                if self.here(machine):
                    begun = since / timedelta(hours=1)
                    span = step / timedelta(hours=1)
                    end = min(begun + span, worked[machine.name])
                    machine.work(max(0.0, end - max(begun, 0.0)))
            self.now += step


def verb(*words):
    """Run a verb; its exit code and what it printed. Raises where it was misuse."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = entry([str(word) for word in words])
    if code not in (0, 1):
        raise AssertionError(f"{words[0]}: exit {code}: {err.getvalue()}")
    return code, out.getvalue()


class Month:
    """The days of one run."""

    def __init__(self, folder, world, work):
        self.folder, self.world, self.work = folder, world, work
        self.counts = dict.fromkeys(
            ("compared", "border", "planned", "left", "greased", "not done", "receipts", "twice",
             "replaced", "away"), 0,
        )  # fmt: skip

    def morning(self, at):
        """Compare, plan, work, book."""
        self._compare(at)
        plan = self._plan(at)
        for k, walk in enumerate(plan.technicians):
            self._walk(plan, walk, k)

    def _compare(self, at):
        _, text = verb("due", self.folder, "--at", at.isoformat(), "--format", "json")
        told, said = {}, {}
        for item in json.loads(text)["items"]:
            if item["status"] in ("look only", "never pumped"):
                continue
            names = {f for u, j, f in self.world.owed() if (u, j) == (item["unit"], item["joint"])}
            due = set(item["due_fittings"] or names) if item["due"] else set()
            told |= {(item["unit"], item["joint"], name): name in due for name in names}
            said[item["unit"], item["joint"]] = item["reason"]
        owed = self.world.owed()
        if set(told) != set(owed):
            raise AssertionError(f"{at}: not the same joints: {set(told) ^ set(owed)}")
        wrong = {key: (told[key], want) for key, want in owed.items()
                 if want is not None and told[key] != want}  # fmt: skip
        if wrong:
            first = next(iter(wrong))
            ours = self.world.machines[first[0]].fittings[first[1:]]
            raise AssertionError(
                f"{at}: {len(wrong)} of {len(owed)} differ: {list(wrong.items())[:3]}; "
                f"due says {said[first[:2]]!r}, simulated {ours}"
            )
        self.counts["compared"] += len(owed)
        self.counts["border"] += sum(want is None for want in owed.values())
        self.due = {key for key, due in told.items() if due}

    def _plan(self, at):
        out = self.work / "out"
        shutil.rmtree(out, ignore_errors=True)
        verb("round", self.folder, "--out", out, "--at", at.isoformat())
        plan = RoundPlan.model_validate_json((out / "round.json").read_text(encoding="utf-8"))
        planned = {
            (stop.unit, task.joint, task.fitting)
            for t in plan.technicians
            for stop in t.stops
            for stand in stop.stands
            for task in stand.fittings
        }
        left = {(x.unit, x.joint, x.fitting) for x in plan.left if x.reason}
        whole = {(unit, joint) for unit, joint, fitting in left if fitting is None}
        if planned - self.due:
            raise AssertionError(f"{at}: greased without reason: {planned - self.due}")
        forgotten = {k for k in self.due - planned - left if k[:2] not in whole}
        if forgotten:
            raise AssertionError(f"{at}: forgotten: {forgotten}")
        self.counts["planned"] += len(planned)
        self.counts["left"] += len(self.due - planned)
        return plan

    def _walk(self, plan, walk, number):
        """Work one walk with random exceptions and hand its card in, at times as a receipt."""
        rng = self.world.rng
        tasks = [(s.unit, t.joint, t.fitting, s.leave) for s in walk.stops if not s.reload
                 for a in s.stands for t in a.fittings]  # fmt: skip
        stops = [stop for stop in walk.stops if not stop.reload]
        given_up = {s.unit for s in stops[len(stops) - rng.choice([0, 0, 0, 1, 2]) :]}
        skipped = {t[:3] for t in tasks if t[0] in given_up or rng.random() < 0.04}
        meters = {s.unit: round(self.world.machines[s.unit].meter_h, 1) for s in stops
                  if rng.random() < 0.5}  # fmt: skip
        if rng.random() < 0.3:
            handed_in = self._receipt(plan, number, tasks, skipped, meters)
            self.counts["receipts"] += 1
        else:
            handed_in = self._file(plan, walk, skipped, meters)
        finish = datetime.fromisoformat(walk.finish) + timedelta(minutes=20)
        for _ in range(rng.choice([1, 1, 2])):
            verb("record", self.folder, handed_in, "--at", finish.isoformat())
        self.counts["twice"] += 1
        for unit, joint, fitting, leave in tasks:
            if (unit, joint, fitting) in skipped:
                self.counts["not done"] += 1
                continue
            each = self.world.machines[unit].fittings[joint, fitting]
            each.hours, each.day = 0.0, datetime.fromisoformat(leave).date()
            self.counts["greased"] += 1

    def _file(self, plan, walk, skipped, meters):
        card = card_of(plan, technician=walk.name, meters=meters, device="a1b2")
        finish = datetime.fromisoformat(walk.finish)
        card["exported_at"] = (finish + timedelta(minutes=5)).isoformat()
        for meter in card["meters"]:
            meter["at"] = finish.isoformat()
        rng = self.world.rng
        kept = []
        for entry_ in card["events"]:
            entry_["id"] = f"{rng.getrandbits(64):016x}"
            if (entry_["unit"], entry_["joint"], entry_["fitting"]) in skipped:
                if rng.random() < 0.5:
                    continue  # nothing said
                for name in ("strokes", "planned_strokes", "put_in", "grease", "gun"):
                    entry_.pop(name)
                entry_.update(done=False, reason=rng.choice(REASONS))
            elif rng.random() < 0.1:
                entry_["strokes"] += rng.choice([-1, 1, 2])
                if rng.random() < 0.3:
                    entry_.update(defect="leak", found="seen on the walk")
            kept.append(entry_)
        card["events"] = kept
        path = self.work / f"{walk.name}.json"
        path.write_text(json.dumps(card), encoding="utf-8")
        return path

    def _receipt(self, plan, number, tasks, skipped, meters):
        event = plan_handed_out(plan)
        walk = event.walks[number]
        ticked = [
            Ticked(COULD_NOT, reason=self.world.rng.choice(REASONS))
            if task[:3] in skipped else Ticked(AS_PLANNED)
            for task in tasks
        ]  # fmt: skip
        minutes = [int(stop.leave_s // 60) for stop in walk.stops]
        return receipt_text(
            WalkTold(
                plan=round_id(plan),
                walk=number,
                device="c3d4",
                told_min=max([0, *minutes]) + 5,
                fittings=tuple(ticked),
                checks=tuple(Ticked(AS_PLANNED) for stop in walk.stops for _ in stop.checks),
                minutes=tuple(minutes),
                meters=tuple(
                    (meters[s.unit], False) if s.unit in meters else None for s in walk.stops
                ),
            )
        )

    def day(self, tomorrow):
        """What the machines do until the next morning, and what somebody books of it by hand."""
        rng, world, rows = self.world.rng, self.world, []
        worked = {}
        for machine in world.machines.values():
            read = rng.random() < 0.7
            most = min(20.0, 24.0 - world.shift / timedelta(hours=1))
            hours = round(rng.uniform(0, min(most, 1.6 * machine.a_day_h)), 1)
            worked[machine.name] = hours if read else machine.a_day_h
            if read and world.here(machine):
                # Read on both sides: nobody could tell how unread days before share the hours.
                rows.append(("meter_read", world.now, machine.name, {"meter_h": machine.meter_h}))
        read_at = tomorrow - timedelta(minutes=5)
        self._leave(tomorrow, rows)
        noon = world.now.replace(hour=12, minute=0, second=0)
        world.run_to(noon, worked)
        self._replace_meters(noon, rows)
        world.run_to(tomorrow, worked)
        rows += [
            ("meter_read", read_at, machine.name, {"meter_h": machine.meter_h})
            for machine in world.machines.values()
            if worked[machine.name] != machine.a_day_h and world.here(machine)
        ]
        self._book(rows, tomorrow)

    def _leave(self, tomorrow, rows):
        """Now and then a machine is away for some days, from this minute on."""
        rng, world = self.world.rng, self.world
        for machine in world.machines.values():
            if world.here(machine) and rng.random() < 0.01:
                until = tomorrow + timedelta(days=rng.choice([1, 2, 4]))
                machine.away_until = until
                rows.append(("away", world.now, machine.name, {"until": until.isoformat()}))
                self.counts["away"] += 1

    def _replace_meters(self, noon, rows):
        rng, world = self.world.rng, self.world
        for machine in world.machines.values():
            if world.here(machine) and rng.random() < 0.01:
                old, new = round(machine.meter_h, 1), round(rng.uniform(0, 50), 1)
                rows.append(("meter_replaced", noon, machine.name, {"old_h": old, "new_h": new}))
                machine.meter_h = new
                self.counts["replaced"] += 1

    def _book(self, rows, now):
        path = self.work / "events.jsonl"
        lines = [
            json.dumps({"kind": kind, "at": at.isoformat(), "unit": unit, **more})
            for kind, at, unit, more in rows
        ]
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        if rows:
            verb("record", self.folder, path, "--at", now.isoformat())


def run(site_folder, *, days, seed):
    with tempfile.TemporaryDirectory() as place:
        work = Path(place)
        folder = work / "site"
        shutil.copytree(site_folder, folder)
        site = read_site(folder)
        world = World(site, seed)
        month = Month(folder, world, work)
        verb("record", folder, "--at", site.planned_for.isoformat())
        begun = time.perf_counter()
        for number in range(days):
            at = site.planned_for + timedelta(days=number)
            month.morning(at)
            month.day(at + timedelta(days=1))
            spent = time.perf_counter() - begun
            print(f"{at:%Y-%m-%d}: {month.counts}, {spent:.0f} s", file=sys.stderr)
        month._compare(world.now)
        return month.counts


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("site", type=Path)
    parser.add_argument("--days", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    print(run(args.site, days=args.days, seed=args.seed))


if __name__ == "__main__":
    main()
