"""How long the rest of a round takes to plan: ``python -m tests.bench.replan SITE``.

The morning is planned once and kept in hand; then its rest after so many minutes, as it was, with
a fitting found blocked, and with a unit moved and another one gone. Each is planned in hand and
afresh; exits 1 where the two differ or where one in hand takes more than ``--most-s``.
"""

import argparse
import sys
import time
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from greaseroute.rounds.change import BlockedFitting, DoneSoFar, MovedUnit
from greaseroute.rounds.plan import RoundPlan
from greaseroute.rounds.planner import plan_round, take_in_hand
from greaseroute.rounds.replan import RoundInHand
from greaseroute.site.folder import read_site


def main() -> int:
    """Time every change and print a line for each."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("site", type=Path)
    parser.add_argument("--minutes", type=int, nargs="+", default=[20, 60, 100])
    parser.add_argument("--most-s", type=float, default=2.0, help="processor seconds (default 2)")
    args = parser.parse_args()
    site = read_site(args.site)
    assert site.planned_for is not None
    hand, begun_s, _ = _timed(lambda: take_in_hand(site, at=site.planned_for))
    print(f"the morning: {begun_s:.1f} processor seconds")
    good = True
    for minutes in args.minutes:
        for name, so_far in _changes(hand, minutes):
            good &= _compare(hand, f"{minutes} min, {name}", so_far, most_s=args.most_s)
    return 0 if good else 1


def _timed(job: Callable[[], Any]) -> tuple[Any, float, float]:
    wall, cpu = time.perf_counter(), time.process_time()
    result = job()
    return result, time.process_time() - cpu, time.perf_counter() - wall


def _compare(hand: RoundInHand, name: str, so_far: DoneSoFar, *, most_s: float) -> bool:
    rest, cpu_s, wall_s = _timed(lambda: hand.rest(so_far))
    site = hand.ready.site
    fresh, fresh_s, _ = _timed(
        lambda: plan_round(site, at=hand.wish.at, done_so_far=so_far, earlier=hand.plan)
    )
    units = sum(len(t.stops) for t in rest.technicians)
    same = "the same plan" if rest == fresh else "ANOTHER PLAN"
    print(
        f"{name}: {units} stops; in hand {cpu_s:.2f} processor s ({wall_s:.2f} by the clock), "
        f"afresh {fresh_s:.2f}; {same}; {rest.notes[1]}",
        flush=True,
    )
    return rest == fresh and cpu_s <= most_s


def _changes(hand: RoundInHand, minutes: int) -> Iterator[tuple[str, DoneSoFar]]:
    at = hand.ready.morning.zero + timedelta(minutes=minutes)
    told = _so_far(hand.plan, at)
    open_ = [s for t in hand.plan.technicians for s in t.stops if _is_open(s, told)]
    yield "nothing else", told
    if len(open_) < 3:
        return
    task = open_[0].stands[0].fittings[0]
    blocked = BlockedFitting(unit=open_[0].unit, joint=task.joint, fitting=task.fitting)
    yield "one fitting blocked", told.model_copy(update={"blocked": (blocked,)})
    unit = next(u for u in hand.ready.site.units if u.unit == open_[1].unit)
    moved = MovedUnit(unit=unit.unit, x_m=unit.x_m + 2.0, y_m=unit.y_m + 2.0)
    changed = told.model_copy(update={"moved": (moved,), "gone": (open_[2].unit,)})
    yield "one unit moved, one gone", changed


def _is_open(stop, told: DoneSoFar) -> bool:
    return not stop.reload and stop.unit not in told.done_units


def _so_far(plan: RoundPlan, at: datetime) -> DoneSoFar:
    """Everybody stands where the last stop done ended; all of it is booked."""
    places, done = {}, []
    for walk in plan.technicians:
        for stop in walk.stops:
            if not stop.reload and datetime.fromisoformat(stop.leave) <= at:
                done.append(stop.unit)
                places[walk.name] = stop.inside[-1]
    return DoneSoFar(at=at, places=places, done_units=tuple(done))


if __name__ == "__main__":
    sys.exit(main())
