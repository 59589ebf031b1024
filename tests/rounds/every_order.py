"""The best round of a small site by going through every order: none of the planner's solvers.

Taken from the package are the stands at each unit with their rules (what must come before what)
and the quickest walk between two points of the ground. Everything after that is done anew: every
sequence of stands inside a unit, every unit left out or given to one of the technicians, every
order, every pair of first and last stand, every place in an order for a visit to a store, every
wait for a window and for ground to open. Times are whole milliseconds.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import product

import numpy as np
from numpy.typing import NDArray

from greaseroute.dose.cartridges import cartridge_strokes
from greaseroute.plan.round import RoundPlan
from greaseroute.rounds.prepare import Outlook, Prepared, with_levels
from greaseroute.site.crew import Technician
from greaseroute.site.morning import start_of, unit_window
from greaseroute.units import S_PER_MIN, ms
from greaseroute.visits.nodes import AGAIN, LOOK, Node, band_ms
from greaseroute.visits.visit import UnitVisit
from greaseroute.visits.work import outfit_of
from greaseroute.walk.yard import footing

Times = NDArray[np.int64]
FAR = 2**50
CLOSE_M = 1e-6
FEW_NODES, FEW_ITEMS = 8, 6  # up to so many, sequences of stands are gone through one by one


@dataclass(frozen=True, slots=True, order=True)
class Best:
    """The least weight left out and, with that, the earliest last finish in ms from zero."""

    lost: int
    last_ms: int


@dataclass(frozen=True, slots=True, eq=False)
class Call:
    """One level of service at one unit for one technician.

    ``feet`` are rows of the walking tables; ``spent`` (S, S) the time from first to last stand.
    """

    feet: Times
    spent: Times
    window: tuple[int, int]
    strokes: Times
    loss: int


@dataclass(frozen=True, slots=True, eq=False)
class Walker:
    """One technician: walking tables by span of hours, ends, hours, bag, and the calls by unit."""

    spans: tuple[tuple[int, Times], ...]
    start_ms: int
    end_ms: int
    stores: tuple[int, ...]
    reload_ms: int
    bag: int
    left: Times
    cartridge: Times
    calls: Mapping[str, tuple[Call, ...]]

    START, FINISH = 0, 1


@dataclass(frozen=True, slots=True, eq=False)
class At:
    """Where somebody can be, and from when on."""

    points: Times
    ready: Times


def best_plan(ready: Prepared) -> Best:
    """What a plan must come to: everything in reach served or, where time is short, the better of
    whole visits and visits that serve only the weightier joints of a unit.
    """
    whole = best_round(ready)
    visits = [v for o in ready.outlooks for v in o.visits.values()]
    units = {v.work.unit.unit for v in visits}
    least = sum(min(v.loss for v in visits if v.work.unit.unit == unit) for unit in units)
    if whole.lost == least:
        return whole
    less = best_round(with_levels(ready))
    return less if less.lost < whole.lost else whole


def of_plan(plan: RoundPlan, ready: Prepared) -> Best:
    """The same two numbers of a plan, from its record."""
    pumped = {
        (stop.unit, task.joint)
        for technician in plan.technicians
        for stop in technician.stops
        for stand in stop.stands
        for task in stand.fittings
    }
    served: dict[str, int] = {}
    weight: dict[str, int] = {}
    for visit in (v for o in ready.outlooks for v in o.visits.values()):
        unit = visit.work.unit.unit
        done = sum(j.weight for j in visit.work.joints if (unit, j.joint.name) in pumped)
        served[unit] = max(done, served.get(unit, 0))
        weight[unit] = max(visit.work.weight, weight.get(unit, 0))
    finish = max(datetime.fromisoformat(t.finish) for t in plan.technicians)
    lost = sum(weight.values()) - sum(served.values())
    return Best(lost, ready.morning.ms(finish))


def best_round(ready: Prepared) -> Best:
    """The best round over the visits of ``ready`` (the levels too, where it holds them)."""
    walkers = [_walker(ready, k) for k in range(len(ready.technicians))]
    units = list(dict.fromkeys(unit for w in walkers for unit in w.calls))
    skip = _weights(ready, units)
    finishes = [earliest_finishes(w, units) for w in walkers]
    idle = (0,) * len(units)
    walkers_in = [k for k, f in enumerate(finishes) if f[idle] < FAR]
    choices = [
        [(-1, 0, skip[unit])]
        + [
            (k, level, call.loss)
            for k in walkers_in
            for level, call in enumerate(walkers[k].calls.get(unit, ()), start=1)
        ]
        for unit in units
    ]
    best = min(_values(choices, finishes, walkers_in), default=(0, 0))
    return Best(*best)


def _values(
    choices: Sequence[Sequence[tuple[int, int, int]]],
    finishes: Sequence[Mapping[tuple[int, ...], int]],
    walkers_in: Sequence[int],
) -> Iterator[tuple[int, int]]:
    """(weight lost, last finish) of every way to share the units out that can be done."""
    for shares in product(*choices):
        lost = sum(loss for _, _, loss in shares)
        rows = [tuple(level if who == k else 0 for who, level, _ in shares) for k in walkers_in]
        last = max(
            (finishes[k].get(row, FAR) for k, row in zip(walkers_in, rows, strict=True)), default=0
        )
        if last < FAR:
            yield lost, last


def _weights(ready: Prepared, units: Sequence[str]) -> dict[str, int]:
    """What is lost where a unit is not visited at all."""
    visits = [v for o in ready.outlooks for v in _all_visits(o)]
    return {u: max(v.work.weight for v in visits if v.work.unit.unit == u) for u in units}


def _all_visits(outlook: Outlook) -> list[UnitVisit]:
    return [v for unit, full in outlook.visits.items() for v in (full, *outlook.lesser[unit])]


# ---------------------------------------------------------------- every order of one technician


def earliest_finishes(walker: Walker, units: Sequence[str]) -> dict[tuple[int, ...], int]:
    """The earliest finish for every set of units and levels, over every order of it.

    A set is one number for each of ``units``: 0 left out, else 1 plus the level. Sets that cannot
    be done in time are not in it, but for the empty one.
    """
    orders = _Orders(walker, units)
    start = At(np.array([Walker.START]), np.array([walker.start_ms]))
    nothing = (0,) * len(units)
    orders.best[nothing] = _home(walker, start)
    orders.go_on(_Part(start, nothing, np.zeros_like(walker.left), 0))
    return orders.best


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    """An order begun: where one may be, levels done, strokes, cartridges in at the last filling."""

    at: At
    done: tuple[int, ...]
    strokes: Times
    filled_at: int


class _Orders:
    """Every order of one technician; ``best`` holds the earliest finish of each set met."""

    def __init__(self, walker: Walker, units: Sequence[str]) -> None:
        self.walker, self.units = walker, units
        self.best: dict[tuple[int, ...], int] = {}
        # a bag that lasts for everything is never filled again: a way by a store is no shorter
        lasts = _put_in(walker, _most(walker, units)) <= walker.bag
        self.stores = () if lasts else walker.stores

    def go_on(self, part: _Part) -> None:
        """Add each unit that is left, at each level, straight or by way of each store."""
        for k, unit in enumerate(self.units):
            for level, call in enumerate(self.walker.calls.get(unit, ()), start=1):
                if not part.done[k]:
                    done = (*part.done[:k], level, *part.done[k + 1 :])
                    self._add(part, call, done)

    def _add(self, part: _Part, call: Call, done: tuple[int, ...]) -> None:
        strokes = part.strokes + call.strokes
        put_in, so_far = _put_in(self.walker, strokes), _put_in(self.walker, part.strokes)
        starts = [(part.at, part.filled_at)]
        starts += [(_filled(self.walker, part.at, store), so_far) for store in self.stores]
        for at, filled_at in starts:
            if put_in - filled_at <= self.walker.bag:
                there = _called(self.walker, at, call)
                if len(there.points):
                    self.best[done] = min(self.best.get(done, FAR), _home(self.walker, there))
                    self.go_on(_Part(there, done, strokes, filled_at))


def _home(walker: Walker, at: At) -> int:
    arrive = int(arrivals(walker.spans, at, np.array([Walker.FINISH])).min())
    return arrive if arrive <= walker.end_ms else FAR


def _called(walker: Walker, at: At, call: Call) -> At:
    """At each last stand of a unit: earliest leaving, over every first stand."""
    arrive = arrivals(walker.spans, at, call.feet)
    begin = np.maximum(arrive, call.window[0])
    leave = (begin[:, None] + call.spent).min(axis=0)
    fine = leave <= min(call.window[1], walker.end_ms)
    return At(call.feet[fine], leave[fine])


def _filled(walker: Walker, at: At, store: int) -> At:
    arrive = arrivals(walker.spans, at, np.array([store]))
    return At(np.array([store]), arrive + walker.reload_ms)


def arrivals(spans: Sequence[tuple[int, Times]], at: At, goals: Times) -> Times:
    """Earliest arrival at each goal: by a walk begun at once, or at the begin of a later span.

    A walk that lasts into later spans takes the longest of their times and needs a way in each; the
    clock may find a quicker one that waits on the way.
    """
    best = np.full(len(goals), FAR)
    ends = [begin for begin, _ in spans[1:]] + [4 * FAR]
    for k, (begin, _) in enumerate(spans):
        depart = np.maximum(at.ready, begin)
        for row, (point, when) in enumerate(zip(at.points, depart, strict=True)):
            if not at.ready[row] < ends[k] or when >= FAR:
                continue
            best = np.minimum(best, when + _lasting(spans, k, int(point), int(when))[goals])
    return best


def _lasting(spans: Sequence[tuple[int, Times]], k: int, point: int, when: int) -> Times:
    took = spans[k][1][point].copy()
    for begin, table in spans[k + 1 :]:
        touched = when + took > begin
        took[touched] = np.maximum(took[touched], table[point][touched])
    return took


def _most(walker: Walker, units: Sequence[str]) -> Times:
    most = [max((c.strokes for c in walker.calls.get(u, ())), key=sum, default=0) for u in units]
    return np.sum([*most, np.zeros_like(walker.left)], axis=0)


def _put_in(walker: Walker, strokes: Times) -> int:
    """Cartridges put in after so many strokes of each gun, by the rule of ``CrewProblem``."""
    over = np.maximum(0, strokes - walker.left)
    return int((-(-over // walker.cartridge)).sum())


# ----------------------------------------------------------------- one technician's tables


def _walker(ready: Prepared, number: int) -> Walker:
    site, morning = ready.site, ready.morning
    technician = ready.technicians[number]
    outfit = outfit_of(technician, site)
    outlook = next(o for o in ready.outlooks if o.outfit == outfit)
    visits = _all_visits(outlook)
    ends = [footing(site, name, ready.yard) for name in (technician.start, technician.finish)]
    stores = [p.point for p in site.ground.places if p.kind == "store"]
    fixed = [(p.x, p.y) for p in (*ends, *stores)]
    feet = [node.foot_m for visit in visits for node in visit.nodes]
    begin = start_of(technician, morning)
    calls: dict[str, list[Call]] = {}
    first = len(fixed)
    for visit in visits:
        rows = np.arange(first, first + len(visit.nodes))
        first += len(visit.nodes)
        calls.setdefault(visit.work.unit.unit, []).append(_call(ready, visit, technician, rows))
    return Walker(
        spans=_spans(ready, [*fixed, *feet], speed_m_s=outfit.speed_m_s),
        start_ms=begin,
        end_ms=morning.end_ms,
        stores=tuple(range(2, 2 + len(stores))),
        reload_ms=ms(site.rules.reload_s),
        bag=_bag(ready, technician),
        left=np.asarray([g.left_strokes for g in site.guns], np.int64),
        cartridge=_cartridges(ready),
        calls={unit: tuple(each) for unit, each in calls.items()},
    )


def _spans(
    ready: Prepared, points: Sequence[tuple[float, float]], *, speed_m_s: float
) -> tuple[tuple[int, Times], ...]:
    spots = np.asarray(points, dtype=float)
    return tuple(
        (begin, whole_ms(ground.travel(spots, speed_m_s=speed_m_s, slide=False).time_s))
        for begin, ground in ready.yard.grounds
    )


def whole_ms(time_s: NDArray[np.float64]) -> Times:
    """Up to whole milliseconds; what float noise puts a hair above one is that one."""
    up = np.ceil(np.where(np.isfinite(time_s), time_s, 0.0) * 1000 - 1e-6).astype(np.int64)
    return np.where(np.isfinite(time_s), up, FAR)


def _bag(ready: Prepared, technician: Technician) -> int:
    """Cartridges to put in that a full bag holds beside the reserve of each grease."""
    held = {gun.grease for gun in ready.site.guns if gun.name in technician.guns}
    kept = sum(g.reserve_cartridges for g in ready.site.greases if g.name in held)
    return max(1, technician.bag_cartridges - kept)


def _cartridges(ready: Prepared) -> Times:
    """Strokes of a cartridge of each gun, less what the largest fitting of the round may waste."""
    greases = {g.name: g for g in ready.site.greases}
    fittings = [
        f for o in ready.outlooks for v in _all_visits(o) for j in v.work.joints for f in j.fittings
    ]
    return np.asarray(
        [
            max(
                1,
                cartridge_strokes(gun, greases[gun.grease])
                - max((f.strokes for f in fittings if f.gun == gun.name), default=1)
                + 1,
            )
            for gun in ready.site.guns
        ],
        np.int64,
    )


def _call(ready: Prepared, visit: UnitVisit, technician: Technician, rows: Times) -> Call:
    site = ready.site
    feet = np.asarray([node.foot_m for node in visit.nodes])
    open_ = [k for k, (_, g) in enumerate(ready.yard.grounds) if g.is_free(feet).all()]
    ground = ready.yard.grounds[open_[0] if open_ else 0][1]
    speed = outfit_of(technician, site).speed_m_s
    # On slow ground a walk passes a border at points that hang on how much ground is looked at:
    # there the walks inside a unit are taken as they are.
    walk = np.where(visit.walks.ms < 0, FAR, visit.walks.ms)
    if not site.ground.slow_ground:
        walk = whole_ms(ground.travel(feet, speed_m_s=speed, slide=False).time_s)
    fittings = [f for j in visit.work.joints for f in j.fittings if f.key in visit.items]
    return Call(
        feet=rows,
        spent=spent_inside(ready, visit, technician, walk),
        window=_window(ready, visit, open_),
        strokes=np.asarray(
            [sum(f.strokes for f in fittings if f.gun == gun.name) for gun in site.guns], np.int64
        ),
        loss=visit.loss,
    )


def _window(ready: Prepared, visit: UnitVisit, open_: Sequence[int]) -> tuple[int, int]:
    """While the unit stands and its ground is open: the longest stretch of it.

    Where it takes two, only while a second person is at hand.
    """
    low, high = unit_window(visit.work.unit, ready.morning)
    begins = [begin for begin, _ in ready.yard.grounds]
    cuts = [*begins[1:], max(high, begins[-1])]
    stretches, begin = [(low, low)], None
    for k in range(len(begins)):
        if k not in open_:
            begin = None
            continue
        begin = max(low, begins[k]) if begin is None else begin
        stretches.append((begin, min(high, cuts[k])))
    begin, end = max(stretches, key=lambda s: s[1] - s[0])
    return begin, end


# ----------------------------------------------------------------- every sequence inside a unit


def is_small(visit: UnitVisit) -> bool:
    """Whether the sequences of stands of a visit are gone through one by one."""
    items = {item for node in visit.nodes for item in node.items}
    return len(visit.nodes) <= FEW_NODES and len(items) <= FEW_ITEMS


def spent_inside(ready: Prepared, visit: UnitVisit, technician: Technician, walk: Times) -> Times:
    """(S, S) whole time at a unit from arrival at a first stand to leaving from a last one.

    At a stand all is done that is left to do there and may be done; what must come before or
    after a posture or a turn is as the nodes say. Small units are gone through sequence by
    sequence; of larger ones sequences that have done the same and end alike share what follows.
    """
    task = _Task(ready, visit, technician, walk)
    spent = np.full((len(visit.nodes), len(visit.nodes)), FAR)
    if is_small(visit):
        for first in range(len(visit.nodes)):
            for last, cost in task.one_by_one(first):
                spent[first, last] = min(spent[first, last], cost)
        return spent
    for last, costs in task.all_firsts():
        spent[:, last] = np.minimum(spent[:, last], costs)
    return spent


class _Task:
    """What is to be done at one unit, in milliseconds: items by number, sets of them as bits."""

    def __init__(
        self, ready: Prepared, visit: UnitVisit, technician: Technician, walk: Times
    ) -> None:
        self.nodes = visit.nodes
        items = sorted({item for node in visit.nodes for item in node.items})
        self.bit = {item: 1 << k for k, item in enumerate(items)}
        self.everything = (1 << len(items)) - 1
        self.move = _moves(visit.nodes, walk, speed_m_s=outfit_of(technician, ready.site).speed_m_s)
        self.cover = [sum(self.bit[i] for i in node.items) for node in visit.nodes]
        self.need = [sum(self.bit.get(i, 0) for i in node.need) for node in visit.nodes]
        self.never = [node.need and not set(node.need) <= self.bit.keys() for node in visit.nodes]
        self.forbid = [sum(self.bit.get(i, 0) for i in node.forbid) for node in visit.nodes]
        self.cost = _item_costs(visit, technician)
        rules = ready.site.rules
        done = [j for j in visit.work.joints if any(f.key in visit.items for f in j.fittings)]
        talks = sum(
            ms(j.joint.procedure.minutes * S_PER_MIN)
            for j in done
            if j.joint.procedure is not None and not j.joint.procedure.stand_clear
        )
        again = rules.unlock_s + rules.isolation_s  # once for each kind that moves the machine
        kinds = {
            j.joint.procedure.kind
            for j in done
            if j.joint.procedure is not None
            and not j.joint.procedure.stand_clear
            and any(step.machine_moves for step in j.joint.procedure.steps)
        }
        parked = visit.work.unit.posture
        first = any(n.posture == parked or n.kind == "turn" for n in visit.nodes)
        self.always = first * ms(rules.isolation_s) + talks + len(kinds) * ms(again)
        self.look_ms = ms(rules.look_s)

    def allowed(self, node: int, done: int) -> bool:
        """Whether one may begin at a node with ``done`` done, and finds something to do there."""
        return (
            not self.never[node]
            and self.need[node] & ~done == 0
            and self.forbid[node] & done == 0
            and self.cover[node] & ~done != 0
        )

    def there_ms(self, node: int, done: int) -> int:
        """Time at a node from the moment one stands there: what moves, and what is left to do."""
        here = self.nodes[node]
        fresh = [
            (item, band)
            for item, band in zip(here.items, here.bands, strict=True)
            if not self.bit[item] & done
        ]
        return (
            here.settle_ms
            + here.event_ms
            + sum(self.cost[node, item] for item, _ in fresh)
            + self.look_ms * sum(item[0] == LOOK for item, _ in fresh)
        )

    def one_by_one(self, first: int) -> Iterator[tuple[int, int]]:
        """(last node, cost) of every sequence that begins at ``first`` and does everything."""
        if not self.allowed(first, 0):
            return
        stack = [(first, self.cover[first], self._begin(first))]
        while stack:
            node, done, cost = stack.pop()
            if done == self.everything:
                yield node, cost + self.nodes[node].climb_ms
                continue
            for then in range(len(self.nodes)):
                if self.move[node, then] < FAR and self.allowed(then, done):
                    spent = int(self.move[node, then]) + self.there_ms(then, done)
                    stack.append((then, done | self.cover[then], cost + spent))

    def all_firsts(self) -> Iterator[tuple[int, Times]]:
        """(last node, least costs by first node) of sequences that do everything."""
        count = len(self.nodes)
        known: dict[int, dict[int, Times]] = {}
        for node in range(count):
            if self.allowed(node, 0):
                row = np.full(count, FAR)
                row[node] = self._begin(node)
                _note(known, self.cover[node], node, row)
        # one more item done at every step: sets in the order of their size are never met again
        for size in range(1, len(self.bit) + 1):
            for done in [d for d in known if d.bit_count() == size and d != self.everything]:
                for node, row in known.pop(done).items():
                    self._go_on(known, node, done, row)
        for last, row in known.get(self.everything, {}).items():
            yield last, np.where(row < FAR, row + self.nodes[last].climb_ms, FAR)

    def _begin(self, node: int) -> int:
        return self.always + self.nodes[node].climb_ms + self.there_ms(node, 0)

    def _go_on(self, known: dict[int, dict[int, Times]], node: int, done: int, row: Times) -> None:
        for then in range(len(self.nodes)):
            if self.move[node, then] < FAR and self.allowed(then, done):
                spent = int(self.move[node, then]) + self.there_ms(then, done)
                new = np.where(row < FAR, row + spent, FAR)
                _note(known, done | self.cover[then], then, new)


def _note(known: dict[int, dict[int, Times]], done: int, node: int, row: Times) -> None:
    rows = known.setdefault(done, {})
    rows[node] = np.minimum(rows[node], row) if node in rows else row


def _moves(nodes: Sequence[Node], walk: Times, *, speed_m_s: float) -> Times:
    """Time from the feet at one node to the feet at another, climbs included."""
    climb = np.asarray([node.climb_ms for node in nodes], np.int64)
    moves = np.where(walk < FAR, climb[:, None] + walk + climb[None, :], FAR)
    for i, a in enumerate(nodes):
        for j, b in enumerate(nodes):
            if a.deck is not None and (a.deck, a.posture) == (b.deck, b.posture):
                across_m = float(np.hypot(a.x_m - b.x_m, a.y_m - b.y_m))
                moves[i, j] = int(np.ceil(1000 * across_m / speed_m_s))
    return moves


def _item_costs(visit: UnitVisit, technician: Technician) -> dict[tuple[int, tuple[str, str]], int]:
    """What each item costs at each node: coupling and strokes, and the height it is done at.

    A look point costs what its height is above the best one; the look itself is the site's rule.
    """
    reach = technician.reach
    bands = band_ms(reach)
    work = {f.key: f for j in visit.work.joints for f in j.fittings}
    pump = {key: ms(f.pump_s) for key, f in work.items()}
    pump |= {(AGAIN, "/".join(key)): ms(reach.handling_s + f.stroke_s) for key, f in work.items()}
    at = {
        (k, item): bands[band]
        for k, node in enumerate(visit.nodes)
        for item, band in zip(node.items, node.bands, strict=True)
    }
    least: dict[tuple[str, str], int] = {}
    for (_, item), cost in at.items():
        least[item] = min(cost, least.get(item, cost))
    return {
        (k, item): pump[item] + cost if item in pump else cost - least[item]
        for (k, item), cost in at.items()
    }
