"""Small crew problems for the tests, and an enumeration that shares no code with the solver."""

from itertools import permutations, product

import numpy as np

from greaseroute.solvers.vrp.problem import NO_LIMIT_MS, CrewProblem, Phase


def ints(values) -> np.ndarray:
    return np.array(values, dtype=np.int64)


def line_problem(
    at_m,
    *,
    work_s,
    technicians=1,
    start_m=0,
    finish_m=None,
    store_m=None,
    speed_m_s=1,
    **fields,
) -> CrewProblem:
    """Units on a straight line, one way each, one metre a second: times are read off the line."""
    units, finish_m = len(at_m), start_m if finish_m is None else finish_m
    store = [] if store_m is None else [store_m]
    x = ints([*at_m, start_m, finish_m, *store])
    metres = abs(x[:, None] - x[None, :])
    speeds = speed_m_s if isinstance(speed_m_s, (list, tuple)) else [speed_m_s] * technicians
    given = {
        "travel_ms": np.stack([metres * 1000 // s for s in speeds]),
        "length_mm": metres * 1000,
        "way_unit": np.arange(units),
        "way_enter": np.arange(units),
        "way_leave": np.arange(units),
        "way_ms": np.tile(ints(work_s) * 1000, (technicians, 1)),
        "way_loss": np.zeros(units, dtype=np.int64),
        "way_strokes": np.zeros((units, 0), dtype=np.int64),
        "skip_loss": np.full(units, 100, dtype=np.int64),
        "window_ms": np.tile(ints([0, NO_LIMIT_MS]), (units, 1)),
        "start_point": np.full(technicians, units, dtype=np.int64),
        "finish_point": np.full(technicians, units + 1, dtype=np.int64),
        "start_ms": np.zeros(technicians, dtype=np.int64),
        "end_ms": np.full(technicians, NO_LIMIT_MS, dtype=np.int64),
        "store_points": ints([units + 2]) if store else ints([]),
        "bag_cartridges": np.full(technicians, 99, dtype=np.int64),
        "cartridge_strokes": np.zeros((technicians, 0), dtype=np.int64),
    }
    return CrewProblem(**(given | fields))


def random_problem(rng, *, units, technicians, windows=False, bag=False, levels=False, hours=False):
    """A random small site; points in the plane, two to four ways a unit, asymmetric work."""
    ways_of = [int(rng.integers(2, 5)) for _ in range(units)]
    unit = ints([u for u, n in enumerate(ways_of) for _ in range(n)])
    ways, points = unit.size, 2 * unit.size + 2
    centre = rng.uniform(0, 300, (units, 2))
    around = centre[np.repeat(unit, 2)] + rng.uniform(-6, 6, (2 * ways, 2))
    xy = np.concatenate([around, rng.uniform(0, 300, (2, 2))])
    metres = np.hypot(*(xy[:, None] - xy[None, :]).transpose(2, 0, 1))
    length = np.round(metres * 1000).astype(np.int64)
    travel = np.stack([np.round(metres / v * 1000) for v in (1.2, 1.0, 1.4)[:technicians]])
    level = rng.integers(0, 2, ways) if levels else np.zeros(ways, dtype=np.int64)
    for u in range(units):
        level[np.flatnonzero(unit == u)[0]] = 0
    work = rng.integers(60_000, 240_000, units)[unit] // (1 + level) + rng.integers(0, 9_000, ways)
    strokes = rng.integers(20, 90, (units, 2))[unit] // (1 + level[:, None])
    window = np.tile(ints([0, NO_LIMIT_MS]), (units, 1))
    if windows:
        opens = rng.integers(0, 900_000, units)
        window = np.stack([opens, opens + rng.integers(200_000, 900_000, units)], axis=1)
    phases = (
        (
            Phase(400_000, (travel * 1.7).astype(np.int64), length * 2),
            Phase(700_000, travel.astype(np.int64), length),
        )
        if hours
        else ()
    )
    return CrewProblem(
        travel_ms=travel.astype(np.int64),
        length_mm=length,
        way_unit=unit,
        way_enter=np.arange(0, 2 * ways, 2),
        way_leave=np.arange(1, 2 * ways, 2),
        way_ms=np.tile(work, (technicians, 1)).astype(np.int64),
        way_loss=(level * rng.integers(1, 9, units)[unit]).astype(np.int64),
        way_strokes=strokes.astype(np.int64) if bag else np.zeros((ways, 0), dtype=np.int64),
        skip_loss=rng.integers(10, 60, units),
        window_ms=window,
        start_point=np.full(technicians, points - 2, dtype=np.int64),
        finish_point=np.full(technicians, points - 2, dtype=np.int64),
        start_ms=np.zeros(technicians, dtype=np.int64),
        end_ms=np.full(technicians, 1_100_000 if windows else NO_LIMIT_MS, dtype=np.int64),
        store_points=ints([points - 1]),
        bag_cartridges=np.full(technicians, 4 if bag else 99, dtype=np.int64),
        cartridge_strokes=np.full((technicians, 2 if bag else 0), 70, dtype=np.int64),
        reload_ms=30_000,
        phases=phases,
    )


def arrival(p: CrewProblem, t: int, *, a: int, b: int, ready: int) -> int | None:
    """Earliest arrival by trying every departure at which anything changes."""
    spans = [(0, p.travel_ms), *((f.from_ms, f.travel_ms) for f in p.phases)]
    ends = [start for start, _ in spans[1:]] + [2**62]
    found = []
    for depart in [ready, *(start for start, _ in spans if start > ready)]:
        k = max(i for i, (start, _) in enumerate(spans) if start <= depart or i == 0)
        took = int(spans[k][1][t, a, b])
        while took >= 0 and depart + took > ends[k]:
            k += 1
            on = int(spans[k][1][t, a, b])
            took = -1 if on < 0 else max(took, on)
        if took >= 0:
            found.append(depart + took)
    return min(found, default=None)


def walk_order(p: CrewProblem, t: int, ways) -> list[int]:  # noqa: C901 - plain on purpose
    """Every finish that this order of ways can have, over all placings of store visits."""
    guns = p.cartridge_strokes.shape[1]
    finishes = []

    def put_in(strokes):
        return sum(-(-int(strokes[g]) // int(p.cartridge_strokes[t, g])) for g in range(guns))

    def on(i, point, now, strokes, at_load):
        if i == len(ways):
            end = arrival(p, t, a=point, b=int(p.finish_point[t]), ready=now)
            if end is not None and end <= p.end_ms[t]:
                finishes.append(end)
            return
        way = ways[i]
        after = strokes + p.way_strokes[way]
        options = [(point, now, at_load)]
        if put_in(strokes) > at_load:
            for store in p.store_points:
                there = arrival(p, t, a=point, b=int(store), ready=now)
                if there is not None:
                    options.append((int(store), there + p.reload_ms, put_in(strokes)))
        for start, ready, load in options:
            if put_in(after) - load > p.bag_cartridges[t]:
                continue
            arrive = arrival(p, t, a=start, b=int(p.way_enter[way]), ready=ready)
            if arrive is None or p.way_ms[t, way] < 0:
                continue
            leave = max(arrive, int(p.window_ms[p.way_unit[way], 0])) + int(p.way_ms[t, way])
            if leave <= p.window_ms[p.way_unit[way], 1]:
                on(i + 1, int(p.way_leave[way]), leave, after, load)

    on(0, int(p.start_point[t]), int(p.start_ms[t]), np.zeros(guns, dtype=np.int64), 0)
    return finishes


def best_by_enumeration(p: CrewProblem) -> tuple[int, int]:
    """(weight lost, last finish) over every sharing out, order and way."""
    ways_of = [np.flatnonzero(p.way_unit == u).tolist() for u in range(p.units)]
    alone: list[dict[tuple[int, ...], dict[int, int]]] = []
    for t in range(p.technicians):
        found: dict[tuple[int, ...], dict[int, int]] = {}
        for take in product((False, True), repeat=p.units):
            chosen = tuple(u for u in range(p.units) if take[u])
            ends = found.setdefault(chosen, {})
            for order in permutations(chosen):
                for ways in product(*(ways_of[u] for u in order)):
                    lost = int(sum(p.way_loss[w] for w in ways))
                    for end in walk_order(p, t, ways):
                        ends[lost] = min(ends.get(lost, end), end)
        alone.append(found)
    best = (2**62, 2**62)
    for who in product(range(-1, p.technicians), repeat=p.units):
        skipped = int(sum(p.skip_loss[u] for u in range(p.units) if who[u] < 0))
        sets = [tuple(u for u in range(p.units) if who[u] == t) for t in range(p.technicians)]
        for parts in product(*(alone[t][units].items() for t, units in enumerate(sets))):
            lost = skipped + sum(part[0] for part in parts)
            best = min(best, (lost, max(part[1] for part in parts)))
    return best
