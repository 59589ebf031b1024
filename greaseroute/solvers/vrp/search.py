"""The search for orders of units: several starts of different kinds, annealed and halved."""

import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import FAR, IntArray
from greaseroute.solvers.vrp.kernels.objective import Best
from greaseroute.solvers.vrp.kernels.recreate import Cooling, Places, anneal
from greaseroute.solvers.vrp.kernels.reloads import Bags
from greaseroute.solvers.vrp.kernels.route import AFTER, BEFORE, HOLDER, LABELS, LEVEL
from greaseroute.solvers.vrp.kernels.ruin import Neighbours, Removed
from greaseroute.solvers.vrp.kernels.state import CARTRIDGES, CLOCK, MARKS, PUMPED, State
from greaseroute.solvers.vrp.layout import (
    CHANGE_MS,
    CLOSES,
    END_WAY,
    FIRST_LEVEL,
    FIRST_WAY,
    HELD,
    OPENS,
    SKIP_LOSS,
    STROKES,
    UNIT,
    WORK,
    Layout,
)
from greaseroute.solvers.vrp.problem import CrewProblem
from greaseroute.solvers.vrp.starts import Order, first_orders
from greaseroute.solvers.vrp.tables import Tables, tables_of
from greaseroute.solvers.vrp.timetable import most_cartridges
from greaseroute.solvers.xorshift import start_word

Progress = Callable[[int, int, int, int], None]  # steps done, of, weight lost, last finish in ms

STARTS = 8  # annealed side by side, half of them dropped at each stage
STEPS_PER_START = 50  # fewer are not worth a start of its own
BESIDE, BESIDE_WITH_CLOCK = 10, 24  # near units beside which a place is looked for
NEAR = 100  # near units that may be taken out together
SPELL = 2_000  # steps between looks at the clock
HOT_LEGS, COOL_LEGS = 10.0, 0.01  # temperatures in legs between neighbours, over technicians
REHEAT = 0.3  # of the temperature of the stage before, at the start of the next one
KEPT_HEAT = 0.1  # of the temperature, where there is a plan to go on from
LOSS_HOT, LOSS_COOL = 0.3, 0.0003  # temperatures in median losses of a unit
SHARE_FIRST, SHARE_LAST = 0.5, 0.05  # of the mean finish, beside the last finish
SQUARED_FIRST, SQUARED_LAST = 5, 11


@dataclass(frozen=True, slots=True, eq=False)
class Orders:
    """Orders found: the levels of the units of each technician, in order."""

    levels: tuple[tuple[int, ...], ...]
    lost: int
    value_ms: int
    steps: int
    interrupted: bool


@dataclass(frozen=True, slots=True, eq=False)
class Setting:
    """What all annealings of one search share."""

    layout: Layout
    tables: Tables
    near: Neighbours
    change_cost_ms: int
    clock: bool
    counts: bool


def setting_of(problem: CrewProblem, layout: Layout) -> Setting:
    """Distances, neighbours and which rules matter, for a problem laid out."""
    tables = tables_of(layout)
    clock = is_timed(problem)
    most = [
        most_cartridges(layout, t, range(layout.store_level)) for t in range(layout.technicians)
    ]
    return Setting(
        layout=layout,
        tables=tables,
        near=neighbours_of(layout, tables, clock=clock),
        change_cost_ms=problem.change_cost_ms if problem.keep is not None else 0,
        clock=clock,
        counts=any(layout.of_guns(t, CHANGE_MS).any() for t in range(layout.technicians))
        or bool((np.array(most) > layout.inst.crew[:, HELD]).any()),
    )


def is_timed(problem: CrewProblem) -> bool:
    """Whether the hour matters anywhere but at the end of the shift."""
    windows = [problem.window_ms]
    if problem.way_window_ms is not None:
        windows.append(problem.way_window_ms)
    first, last = problem.start_ms.min(), int(problem.end_ms.max())
    return (
        bool(problem.phases)
        or problem.way_needs_second is not None
        or any(bool((w[:, 0] > first).any() or (w[:, 1] < last).any()) for w in windows)
    )


def neighbours_of(layout: Layout, tables: Tables, *, clock: bool) -> Neighbours:
    """Units by the time from one to the other and back, waiting and lateness taken into account."""
    apart = tables.apart_ms + tables.apart_ms.T
    if clock:
        apart = apart + _waiting(layout, tables)
    np.fill_diagonal(apart, -1)
    near = np.argsort(apart, axis=1, kind="stable").astype(np.int64)
    few = BESIDE_WITH_CLOCK if clock else BESIDE
    return Neighbours(
        beside=np.ascontiguousarray(near[:, 1 : 1 + few]),
        near=np.ascontiguousarray(near[:, :NEAR]),
        away=tables.from_start_ms[0].copy(),
    )


def _waiting(layout: Layout, tables: Tables) -> IntArray:
    """(U, U) the least of waiting and lateness if one of two units comes right after the other."""
    first = np.minimum(_first_ways(layout), layout.way_id.size - 1)
    opens, closes = layout.inst.way[OPENS, first], layout.inst.way[CLOSES, first]
    soonest = (opens + tables.work_ms)[:, None] + tables.apart_ms
    latest = closes[:, None] + tables.apart_ms
    wait = np.maximum(0, opens[None, :] - latest)
    late = np.maximum(0, soonest + tables.work_ms[None, :] - closes[None, :])
    one_way = np.minimum(wait // 4 + late, FAR // 8)
    either: IntArray = np.minimum(one_way, one_way.T)
    return either


def _first_ways(layout: Layout) -> IntArray:
    """(U,) the first way of each unit."""
    level = np.minimum(layout.inst.unit[:, FIRST_LEVEL], layout.store_level)
    ways: IntArray = layout.inst.level[level, FIRST_WAY]
    return ways


def search_orders(
    problem: CrewProblem,
    layout: Layout,
    *,
    seed: int,
    steps: int,
    limit_s: float | None = None,
    progress: Progress | None = None,
) -> list[Orders]:
    """Best orders of each start after ``steps`` steps; earlier after ``limit_s`` or on Ctrl-C.

    Which side of the site each technician gets is settled early, and not always well: so there are
    several starts, and of every two that have had as many steps the better one goes on.
    """
    setting, begun = setting_of(problem, layout), time.monotonic()
    orders = first_orders(
        problem, layout, setting.tables, seed=seed, count=starts_for(steps), clock=setting.clock
    )
    chains = [Annealing(setting, order, seed=seed * 64 + k) for k, order in enumerate(orders)]
    shares, done, late = _shares_of_steps(steps, _halved(len(chains))), 0, False
    dropped: list[Annealing] = []
    try:
        for stage, going in enumerate(_halved(len(chains))):
            chains.sort(key=lambda chain: chain.value)
            dropped += chains[going:]
            chains = chains[:going]
            for chain, count in zip(chains, shares[stage], strict=True):
                chain.begin_stage(stage, count)
            with ThreadPoolExecutor(going) as pool:
                while not late and any(chain.left for chain in chains):
                    done += sum(pool.map(Annealing.spell, chains))
                    if progress is not None:
                        progress(done, steps, *min(c.value for c in chains)[:2])
                    late = limit_s is not None and time.monotonic() - begun > limit_s
    except KeyboardInterrupt:
        late = True
    every = sorted(chains + dropped, key=lambda chain: chain.value)
    return [chain.orders(done, interrupted=late and done < steps) for chain in every]


def starts_for(steps: int) -> int:
    """How many starts so many steps are enough for."""
    return STARTS if steps >= STEPS_PER_START * STARTS else 1


def _halved(starts: int) -> list[int]:
    """How many starts are left at each stage: 8, 4, 2, 1."""
    left = [starts]
    while left[-1] > 1:
        left.append(left[-1] // 2)
    return left


def _shares_of_steps(steps: int, left: Sequence[int]) -> list[list[int]]:
    """Steps of each start in each stage: all stages take about as many together."""
    return [
        _shared(of_stage, going)
        for of_stage, going in zip(_shared(steps, len(left)), left, strict=True)
    ]


def _shared(total: int, among: int) -> list[int]:
    return [total // among + (1 if k < total % among else 0) for k in range(among)]


class Annealing:
    """One search from a first plan with random numbers of its own, run in spells."""

    def __init__(self, setting: Setting, order: Order, *, seed: int) -> None:
        layout = setting.layout
        self._setting, self._word = setting, start_word(seed)
        self._most = int((layout.inst.level[:, END_WAY] - layout.inst.level[:, FIRST_WAY]).max())
        self._state = empty_state(setting, self._most)
        self._bags, self._places = _bags(setting), _places(layout)
        self._removed = Removed(
            np.zeros(layout.units + 1, np.int64), np.zeros(layout.units + 1, np.float64)
        )
        self.best = _no_best(self._state)
        self._kept = order.kept
        link_stops(layout, self._state, order)
        self._cooling = self._cooling_of(0, 1)
        self._done = self.left = 0
        self._anneal(0, fresh=True)

    @property
    def value(self) -> tuple[int, int, int]:
        """Weight lost, last finish (with the cost of changes) and length of the best plan."""
        return int(self.best.value[0]), int(self.best.value[1]), int(self.best.value[2])

    def begin_stage(self, stage: int, steps: int) -> None:
        """Heat up for so many steps more."""
        self._cooling = self._cooling_of(stage, max(1, steps))
        self._done, self.left = 0, steps

    def spell(self) -> int:
        """Go on for a spell; the steps made."""
        count = min(SPELL, self.left)
        if count == 0:
            return 0
        self._anneal(count, fresh=False)
        self._done += count
        self.left -= count
        return count

    def _anneal(self, count: int, *, fresh: bool) -> None:
        s = self._setting
        anneal(
            s.layout.inst, self._state, s.near, self._bags, self._places, self._removed,
            self.best, self._most, self._cooling, s.change_cost_ms, self._word, fresh, self._done,
            count,
        )  # fmt: skip

    def _cooling_of(self, stage: int, steps: int) -> Cooling:
        s, n_tech = self._setting, self._setting.layout.technicians
        leg = max(1.0, s.tables.short_leg_ms) / n_tech
        heat = REHEAT**stage * (KEPT_HEAT if self._kept else 1.0)
        losses = s.layout.inst.unit[:, SKIP_LOSS]
        losses = losses[losses > 0]
        loss = float(np.median(losses)) if losses.size else 1.0
        return Cooling(
            steps=steps,
            hot_ms=HOT_LEGS * leg * heat,
            cool_ms=COOL_LEGS * leg,
            loss_hot=LOSS_HOT * loss,
            loss_cool=LOSS_COOL * loss,
            share_first=SHARE_FIRST / n_tech,
            share_last=SHARE_LAST / n_tech,
            squared_first=SQUARED_FIRST,
            squared_last=SQUARED_LAST,
            about_ms=max(1.0, s.tables.mean_round_ms),
        )

    def orders(self, steps: int, *, interrupted: bool) -> Orders:
        """The best orders so far."""
        layout, stops = self._setting.layout, self.best.stops
        rows = []
        for t in range(layout.technicians):
            row, stop = [], int(stops[layout.units + t, 0])
            while stop >= 0:
                if stop < layout.units:
                    row.append(int(stops[stop, 2]))
                stop = int(stops[stop, 0])
            rows.append(tuple(row))
        return Orders(tuple(rows), *self.value[:2], steps, interrupted)


def empty_state(setting: Setting, most: int) -> State:
    """Room for routes and for a step to be taken back."""
    layout = setting.layout
    units, n_tech = layout.units, layout.technicians
    stops = units + 2 * n_tech + (n_tech * units if setting.counts else 0)
    columns = LABELS + (5 if setting.clock else 3) * most
    marks = np.zeros(MARKS, np.int64)
    marks[CLOCK], marks[CARTRIDGES] = setting.clock, setting.counts
    return State(
        stops=np.zeros((stops, columns), np.int64),
        tech=np.zeros((2 * (PUMPED + layout.guns), n_tech), np.int64),
        undo=np.zeros((stops, columns + 1), np.int64),
        marks=marks,
    )


def _bags(setting: Setting) -> Bags:
    layout = setting.layout
    return Bags(np.zeros((4, layout.units + 2), np.int64), np.zeros((2, layout.guns), np.int64))


def _places(layout: Layout) -> Places:
    whole, real = np.zeros((5, layout.technicians), np.int64), np.zeros((4, layout.technicians))
    return Places(whole, real)


def _no_best(state: State) -> Best:
    return Best(np.zeros((state.stops.shape[0], 3), np.int64), np.full(3, 2**62, np.int64))


def link_stops(layout: Layout, state: State, order: Order) -> None:
    """Write first orders into routes, each unit at the least loss its technician can serve."""
    units, level = layout.units, _first_levels(layout)
    stops, tech = state.stops, state.tech
    stops[:, HOLDER] = -1
    for t, row in enumerate(order.units):
        able = [units + t, *(u for u in row if level[t, u] >= 0), units + layout.technicians + t]
        stops[able, HOLDER] = t
        stops[able[1:-1], LEVEL] = level[t, able[1:-1]]
        stops[able[0], LEVEL] = layout.store_level + 1 + t
        stops[able[-1], LEVEL] = layout.store_level + 1 + layout.technicians + t
        stops[able, BEFORE], stops[able, AFTER] = [-1, *able[:-1]], [*able[1:], -1]
        strokes = layout.inst.level[stops[able[1:-1], LEVEL], STROKES:]
        tech[PUMPED : PUMPED + layout.guns, t] = strokes.sum(axis=0)


def levels_of(layout: Layout, orders: Sequence[Sequence[int]]) -> tuple[tuple[int, ...], ...]:
    """Orders of units as orders of levels, without units that their technician cannot serve."""
    level = _first_levels(layout)
    return tuple(
        tuple(int(level[t, u]) for u in row if level[t, u] >= 0) for t, row in enumerate(orders)
    )


def _first_levels(layout: Layout) -> IntArray:
    """(T, U) the level of least loss at which each technician can serve each unit, else -1."""
    inst = layout.inst
    level = np.full((layout.technicians, layout.units), -1, dtype=np.int64)
    for one in range(layout.store_level - 1, -1, -1):
        ways = slice(inst.level[one, FIRST_WAY], inst.level[one, END_WAY])
        able = (inst.way[WORK:, ways] >= 0).any(axis=1)
        level[able, inst.level[one, UNIT]] = one
    return level
