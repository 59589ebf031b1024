"""The search on the side of Python: set up the orders, run the kernel in spells, stop when told."""

import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.vrp.kernels.objective import (
    ABOUT_MS,
    CHANGE_COST,
    FIRST_LEVEL,
    FIRST_WAY,
    FOLLOWS,
    FREE,
    GIVEN,
    MANY,
    SKIP_LOSS,
    SQUARED,
    STARTED,
    TIMED,
)
from greaseroute.solvers.vrp.kernels.recreate import Best, Ground, Routes, anneal
from greaseroute.solvers.vrp.kernels.route import (
    ENTER,
    FINISH,
    HOLDER,
    LEAST_LEFT,
    LEAVE,
    LEFT,
    LEVEL,
    MS,
    STOPS,
    WALK,
    least_apart,
)
from greaseroute.solvers.vrp.layout import FAR_MS, CrewArrays
from greaseroute.solvers.vrp.problem import CrewProblem, IntArray

Progress = Callable[[int, int, int, int], None]  # steps done, of, weight lost, last finish in ms

# Tuned on a quarry of 41 units with two unlike technicians, mean last finish of sixteen seeds
# (worst): 24,000 steps in four starts 8628 s (8633 s), by half the heat 8642 s (8695 s); 40,000
# steps in four starts 8629 s (8638 s), six 8628 s (8638 s), eight 8632 s (8684 s).
HOT_LEGS = 3.0  # temperature at the start, in legs between neighbours
# Where all finishes count, one that moves weighs the less, the more there are: 400 units and eight
# technicians, 200,000 steps, mean of four seeds: 21,245 s from 3 legs, 21,215 s from 10, 21,222 s
# from 30.
HOT_LEGS_OF_MANY = 10.0
# How near the last finish alone they come: the same site, 100,000 steps: squared 4 times 21,255 s,
# 6 times 21,209 s, 8 times 21,223 s, from 6 to 10 times 21,190 s.
SQUARED_FROM, SQUARED_MORE = 6, 5
SQUARED_AT_FIRST, ABOUT_AT_FIRST_MS = 4, 1_000_000  # until there is a plan
COOLED = 0.001  # what is left of it at the end
SHARE_AT_START = 1.0  # weight of the sum of the finishes beside the last finish, at the start
SHARE_FALLS = 0.2  # what is left of that at the end
KEPT_HEAT = 0.1  # of the temperature, where there is a plan to go on from
STARTS = 6  # annealings from a start of their own side by side, on sites of some dozen units
SOME_DOZEN = 100
# Larger sites: 400 units and 8 technicians end within 40 s of each other by the start they had, and
# 200,000 steps from one start gain less than that over 100,000.
STEPS_PER_UNIT = 250  # for each start
SPELL = 200  # steps between looks at the clock
MIX = 0x9E3779B97F4A7C15  # odd constant of Fibonacci hashing (Knuth, TAOCP 3, 6.4): spreads seeds


@dataclass(frozen=True, slots=True, eq=False)
class Orders:
    """Orders found: slots per technician (units, then stores by slot), level of each slot."""

    seq: tuple[tuple[int, ...], ...]
    level: IntArray
    lost: int
    value_ms: int
    steps: int
    interrupted: bool


def search_orders(
    problem: CrewProblem,
    arrays: CrewArrays,
    *,
    seed: int,
    steps: int,
    limit_s: float | None = None,
    progress: Progress | None = None,
) -> list[Orders]:
    """Best orders of each start after ``steps`` steps; earlier after ``limit_s`` or on Ctrl-C.

    The steps are shared among a few starts: which side of the site each technician gets is settled
    early, and not always well.
    """
    ground, begun = ground_of(problem, arrays), time.monotonic()
    starts = starts_for(arrays.skip_loss.size, steps)
    chains = [
        _Chain(
            problem,
            arrays,
            ground=ground,
            steps=n,
            seed=starts * seed + k if starts > 1 else seed,
            keep=problem.keep if k == 0 else None,
        )
        for k, n in enumerate(_shares(steps, starts))
    ]
    done, late, going = 0, False, True
    with ThreadPoolExecutor(starts) as pool:
        try:
            while going:
                done += sum(pool.map(_Chain.spell, chains))
                if progress is not None:
                    value = min(chain.value for chain in chains)
                    progress(done, steps, *value)
                late = limit_s is not None and time.monotonic() - begun > limit_s
                going = done < steps and not late
        except KeyboardInterrupt:
            late = True
    return [_orders(chain.best, done, interrupted=late and done < steps) for chain in chains]


def starts_for(units: int, steps: int) -> int:
    """How many starts so many steps are enough for."""
    if units <= SOME_DOZEN:
        return STARTS if steps >= 10 * STARTS else 1
    return max(1, min(STARTS, steps // (STEPS_PER_UNIT * units)))


def _shares(steps: int, starts: int) -> list[int]:
    return [steps // starts + (1 if k < steps % starts else 0) for k in range(starts)]


class _Chain:
    """One annealing from a first plan with random numbers of its own, run in spells."""

    def __init__(
        self,
        problem: CrewProblem,
        a: CrewArrays,
        *,
        ground: Ground,
        steps: int,
        seed: int,
        keep: tuple[tuple[int, ...], ...] | None,
    ) -> None:
        self.best = _no_best(a)
        self._ground, self._steps, self._done = ground, steps, 0
        self._now, self._trial = empty_routes(a), empty_routes(a)
        self._rules = np.zeros(FREE + a.start_ms.size, dtype=np.int64)
        self._rules[ABOUT_MS], self._rules[SQUARED] = ABOUT_AT_FIRST_MS, SQUARED_AT_FIRST
        self._rules[TIMED] = int(_timed(problem))
        self._rules[CHANGE_COST] = problem.change_cost_ms if problem.keep is not None else 0
        self._word = np.array([((seed + 1) * MIX) % 2**64 or MIX], dtype=np.uint64)
        self._heat = _heat(ground, max(1, steps))
        self._kept = keep
        if keep is not None:  # go on from the plan there was, not so hot as to forget it
            self._heat = (self._heat[0] * KEPT_HEAT, *self._heat[1:])

    @property
    def value(self) -> tuple[int, int]:
        """Weight lost and last finish (with the cost of changes) of the best plan."""
        return int(self.best.value[0]), int(self.best.value[1])

    def spell(self) -> int:
        """Go on for a spell; the steps made."""
        count = min(SPELL, self._steps - self._done)
        if self._done == 0:
            self._first_plan()
        self._rules[ABOUT_MS] = max(1, self._last_ms())
        self._rules[SQUARED] = SQUARED_FROM + SQUARED_MORE * self._done // max(1, self._steps)
        self._anneal(_cooled(self._heat, self._done), count)
        self._done += count
        return count

    def _last_ms(self) -> int:
        """The last finish of the present plan."""
        finish = self._now.tech[FINISH]
        return int(finish[finish < FAR_MS].max(initial=0))

    def _first_plan(self) -> None:
        self._anneal(self._heat, 1)
        if self._kept is not None:
            put_orders(self._ground, self._trial, self._kept)
            self._rules[STARTED] = GIVEN
            self._anneal(self._heat, 1)

    def _anneal(self, heat: "Heat", steps: int) -> None:
        state = (self._ground, self._now, self._trial, self.best, self._rules, self._word)
        anneal(*state, heat, steps)


def empty_routes(a: CrewArrays) -> Routes:
    """Orders in which every technician walks from start to finish and visits nothing."""
    n_tech, units, levels = a.start_ms.size, a.skip_loss.size, a.level_unit.size
    stops = units + 2 * n_tech + n_tech * units
    ways = max(1, int(np.diff(a.level_first).max()))
    seq = np.zeros((n_tech, 2 * units + 3), dtype=np.int64)
    seq[:, 0] = units + np.arange(n_tech)
    seq[:, 1] = units + n_tech + np.arange(n_tech)
    tech = np.zeros((4, n_tech), dtype=np.int64)
    tech[STOPS], tech[FINISH] = 2, FAR_MS
    slots = np.full((4, stops), FAR_MS, dtype=np.int64)
    slots[[LEVEL, HOLDER]] = -1
    slots[LEVEL, units : units + 2 * n_tech] = levels + 1 + np.arange(2 * n_tech)
    slots[LEAST_LEFT, units : units + n_tech] = a.start_ms
    know = np.full((5, stops, ways), FAR_MS, dtype=np.int64)
    know[LEFT, units : units + n_tech, 0] = a.start_ms
    know[WALK, units : units + n_tech, 0] = 0
    return Routes(seq=seq, tech=tech, slots=slots, know=know)


def put_orders(g: Ground, r: Routes, orders: tuple[tuple[int, ...], ...]) -> None:
    """Put orders of units into the routes, each at the least loss its technician can serve."""
    units, n_tech = g.near.shape[1], r.tech.shape[1]
    r.slots[LEVEL, :units] = -1
    r.slots[HOLDER, :units] = -1
    for t, order in enumerate(orders):
        row = [units + t]
        for unit in order:
            level = _level_for(g, unit, t)
            if level is not None:
                row.append(unit)
                r.slots[LEVEL, unit], r.slots[HOLDER, unit] = level, t
        row.append(units + n_tech + t)
        r.seq[t, : len(row)] = row
        r.tech[STOPS, t] = len(row)


def _level_for(g: Ground, unit: int, t: int) -> int | None:
    """The first level (least loss) of a unit with a way that the technician can take."""
    for level in range(int(g.unit[FIRST_LEVEL, unit]), int(g.unit[FIRST_LEVEL, unit + 1])):
        if (g.way[MS + t, g.first[level] : g.first[level + 1]] >= 0).any():
            return level
    return None


def ground_of(problem: CrewProblem, a: CrewArrays) -> Ground:
    """Pack what never changes for the kernels."""
    levels = a.level_first.size - 1
    apart = np.full((a.start_ms.size, levels, levels), FAR_MS, dtype=np.int64)
    way = np.concatenate([np.stack([a.way_enter, a.way_leave, a.way_lo, a.way_hi]), a.way_ms])
    least_apart(way, a.level_first, a.travel, apart)
    unit = np.zeros((4, a.skip_loss.size + 1), dtype=np.int64)
    unit[SKIP_LOSS, :-1] = a.skip_loss
    unit[FIRST_LEVEL] = a.unit_first
    unit[FIRST_WAY] = a.level_first[a.unit_first]
    unit[FOLLOWS, :-1] = _follows(problem)
    bag = [a.bag[:, None], a.start_ms[:, None], a.bag_gone[:, None], a.cartridge, a.gun_left]
    return Ground(
        way=way,
        first=a.level_first,
        travel=a.travel,
        length=a.length,
        phase_from=a.phase_from,
        apart=apart,
        strokes=a.level_strokes,
        loss=a.level_loss,
        unit=unit,
        bag=np.concatenate(bag, axis=1),
        near=_near(a),
    )


def _follows(problem: CrewProblem) -> IntArray:
    """The slot each unit followed in the plan before; -1 where it was in none."""
    follows = np.full(problem.units, -1, dtype=np.int64)
    for t, sequence in enumerate(problem.keep or ()):
        before = problem.units + t
        for unit in sequence:
            follows[unit] = before
            before = unit
    return follows


def _no_best(a: CrewArrays) -> Best:
    blank = empty_routes(a)
    worst = np.full(4, 2**62, dtype=np.int64)
    return Best(blank.seq, blank.tech[STOPS].copy(), blank.slots[LEVEL].copy(), worst)


def _timed(problem: CrewProblem) -> bool:
    """Whether the hour matters anywhere: then a stop's tail depends on the present times."""
    windows = problem.window_ms
    return (
        bool(problem.phases)
        or problem.way_window_ms is not None
        or problem.way_needs_second is not None
        or bool((windows[:, 0] > problem.start_ms.min()).any())
        or bool((windows[:, 1] < int(problem.end_ms.max())).any())
    )


def _near(a: CrewArrays) -> IntArray:
    """Units by walking time between their first ways, there and back, and each one's rank."""
    first = a.level_first[a.unit_first[:-1]]
    there = a.travel[0, 0][a.way_leave[first][:, None], a.way_enter[first][None, :]]
    apart = there + there.T
    np.fill_diagonal(apart, -1)
    near = np.argsort(apart, axis=1, kind="stable")
    rank = np.argsort(near, axis=1, kind="stable")
    return np.stack([near, rank]).astype(np.int64)


Heat = tuple[float, float, float, float, float, float]


def _cooled(heat: Heat, done: int) -> Heat:
    """The temperatures after so many steps."""
    hot, cool, loss_hot, loss_cool, share, share_cool = heat
    return (
        hot * cool**done,
        cool,
        loss_hot * loss_cool**done,
        loss_cool,
        share * share_cool**done,
        share_cool,
    )


def _heat(g: Ground, steps: int) -> Heat:
    """Temperatures at the start and their factors per step, scaled to the site's short legs."""
    units = g.near.shape[1]
    ways, beside = g.unit[FIRST_WAY, :-1], g.near[0, :, 1 : max(2, min(units, 4))]
    legs = g.travel[0, 0][g.way[LEAVE, ways][:, None], g.way[ENTER, ways[beside]]]
    legs = legs[legs < FAR_MS]
    hot = max(1.0, float(legs.mean())) if legs.size else 1.0
    losses = g.unit[SKIP_LOSS][g.unit[SKIP_LOSS] > 0]
    loss_hot = float(np.median(losses)) * 0.3 if losses.size else 1.0
    many = g.bag.shape[0] >= MANY
    return (
        (HOT_LEGS_OF_MANY if many else HOT_LEGS) * hot,
        COOLED ** (1.0 / steps),
        max(loss_hot, 1e-3),
        COOLED ** (1.0 / steps),
        SHARE_AT_START,
        SHARE_FALLS ** (1.0 / steps),
    )


def _orders(best: Best, done: int, *, interrupted: bool) -> Orders:
    rows = zip(best.seq, best.stops, strict=True)
    return Orders(
        seq=tuple(tuple(int(x) for x in row[:stops]) for row, stops in rows),
        level=best.level,
        lost=int(best.value[0]),
        value_ms=int(best.value[1]),
        steps=done,
        interrupted=interrupted,
    )
