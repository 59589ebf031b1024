"""Heavy sets and walks along the flow, beside the same told plainly."""

import numpy as np
import pytest

from greaseroute.solvers.vrp.cutting_planes.capacity_cuts import Load, _groups, _rows
from greaseroute.solvers.vrp.cutting_planes.kernels.capacity_cuts import along_walk, heavy_sets


def random_flow(rng, units):
    """Flow both ways between units, most of it zero, and what leaves each unit."""
    flow = np.where(rng.random((units, units)) < 0.15, np.round(rng.random((units, units)), 3), 0.0)
    np.fill_diagonal(flow, 0.0)
    return flow + flow.T, np.round(flow.sum(axis=1) + rng.random(units), 3)


def random_loads(rng, units):
    return [
        Load(
            least=rng.integers(0, 50, units),
            group=rng.random((5, units)) < 0.3,
            weight=rng.integers(1, 40, 5),
            negative_part=0,
            slack=int(rng.integers(200, 600)),
        )
        for _ in range(2)
    ]


def load_of(one, inside):
    met = one.group[:, inside].any(axis=1)
    return int(one.least[inside].sum() + one.weight[met].sum())


def leaving(both, total, inside):
    """What leaves a set: what leaves its units, less what stays among them."""
    return float(total[inside].sum() - both[np.ix_(inside, inside)].sum() / 2)


@pytest.mark.parametrize("seed", range(8))
def test_heavy_sets_are_heavy_and_leave_what_is_told(seed):
    rng = np.random.default_rng(seed)
    units = int(rng.integers(3, 40))
    both, total = random_flow(rng, units)
    loads = random_loads(rng, units)
    slack = np.array([one.slack for one in loads])
    least = np.stack([one.least for one in loads], axis=1)
    sets, leaves = heavy_sets(
        _rows(both), total, np.eye(units, dtype=bool), least, _groups(loads), slack
    )
    everything = np.ones(units, dtype=bool)
    for inside, told in zip(sets, leaves, strict=True):
        if np.isinf(told):
            assert not any(load_of(one, everything) > one.slack for one in loads)
            continue
        assert any(load_of(one, inside) > one.slack for one in loads)
        assert told == pytest.approx(leaving(both, total, inside))
        for u in range(units):  # no single unit in or out lets less flow leave and stays heavy
            other = inside.copy()
            other[u] = ~other[u]
            if leaving(both, total, other) < told - 1e-5:
                assert not any(load_of(one, other) > one.slack for one in loads)


def grown(both, total, seed, loads):
    """The set grown from a seed by the unit that makes least more flow leave, told plainly."""
    inside = seed.copy()
    while not any(load_of(one, inside) > one.slack for one in loads):
        if inside.all():
            return None
        more = total - both[:, inside].sum(axis=1)
        more[inside] = np.inf
        inside[int(more.argmin())] = True
    return inside


@pytest.mark.parametrize("seed", range(8))
def test_sets_grow_as_told_plainly(seed):
    rng = np.random.default_rng(50 + seed)
    both, total = random_flow(rng, 20)
    total += both.sum(axis=1)  # so much leaves each unit that polishing takes out what it can
    loads = random_loads(rng, 20)
    seeds = np.eye(20, dtype=bool)
    slack = np.array([one.slack for one in loads])
    least = np.stack([one.least for one in loads], axis=1)
    _, leaves = heavy_sets(_rows(both), total, seeds, least, _groups(loads), slack)
    for start, told in zip(seeds, leaves, strict=True):
        plain = grown(both, total, start, loads)
        assert (plain is None) == bool(np.isinf(told))
        if plain is not None:
            assert told <= leaving(both, total, plain) + 1e-9


@pytest.mark.parametrize("seed", range(5))
def test_walk_goes_along_the_strongest_flow(seed):
    rng = np.random.default_rng(seed)
    both, _ = random_flow(rng, 25)
    home = rng.random(25)
    for first in (0, 7, 24):
        order = along_walk(_rows(both), home, first).tolist()
        assert sorted(order) == list(range(25))
        assert order[0] == first
        for step in range(1, 25):
            pull = home + both[order[:step]].sum(axis=0)
            rest = order[step:]
            assert pull[order[step]] >= max(pull[rest]) - 1e-12
