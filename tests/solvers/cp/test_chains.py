"""Chains levelled: beside every choice on small problems, and an outside linear program."""

import random
from itertools import product

import numpy as np
import pytest
from scipy.optimize import linprog

from greaseroute.errors import UnfitProblem
from greaseroute.solvers.cp.chains import START, Chain, ChainProblem, late_chains, loads
from greaseroute.solvers.cp.chains_bound import lower_bounds
from greaseroute.solvers.cp.chains_model import level


def made(seed, *, days=4, chains=5, capacity=10**6):
    """Random chains: from a service the next is one to three mornings on."""
    rng = random.Random(seed)
    units = rng.randint(1, 3)
    found = []
    for _ in range(rng.randint(1, chains)):
        step = rng.randint(1, 3)
        wide = rng.randint(0, 2)
        arcs = {b: tuple(sorted({min(days, b + step + k) for k in range(wide + 1)}))
                for b in range(days)}  # fmt: skip
        arcs[START] = tuple(range(rng.randint(1, 3)))
        found.append(Chain(rng.randrange(units), rng.randint(1, 30), 1, arcs, {}))
    visits = np.array([rng.randint(0, 40) for _ in range(units)])
    return ChainProblem(tuple(found), visits, np.full(days, capacity))


def paths(chain, days, at=START):
    """Every choice of mornings of a chain."""
    for m in chain.arcs[at]:
        if m >= days:
            yield ()
        else:
            yield from ((m, *rest) for rest in paths(chain, days, m))


def best(problem):
    """(longest, visits) of every choice, the least."""
    every = product(*(list(paths(c, problem.days)) for c in problem.chains))
    return min((int(load.max()), visits) for load, visits in (loads(problem, x) for x in every))


@pytest.mark.parametrize("seed", range(40))
def test_as_level_as_any_choice(seed):
    problem = made(seed)
    found = level(problem, work=2.0)
    assert (found.longest_ms, found.visits) == best(problem)
    assert found.lower_ms == found.longest_ms
    assert found.status == "optimal"
    assert late_chains(problem, found.mornings) == ()


class Outside:
    """The least longest morning by another program, written anew from the problem: a row for each
    equation, columns found by what they stand for."""

    def __init__(self, problem):
        self.problem, self.names = problem, {}

    def column(self, *name):
        return self.names.setdefault(name, len(self.names))

    def flows(self):
        """(equations, right sides, inequalities): one path a chain, visits where it is served."""
        equal, right, below = [], [], []
        for k, chain in enumerate(self.problem.chains):
            for node in chain.arcs:
                out = {self.column("flow", k, node, m): 1.0 for m in chain.arcs[node]}
                into = [
                    self.column("flow", k, b, node) for b in chain.arcs if node in chain.arcs[b]
                ]
                equal.append(out | dict.fromkeys(into, -1.0))
                right.append(float(node == START))
                if node != START:
                    visit = {self.column("visit", chain.unit, node): -1.0}
                    below.append(dict.fromkeys(into, 1.0) | visit)
        return equal, right, below

    def loads(self):
        """No morning is longer than the longest."""
        for m in range(self.problem.days):
            row = {self.column("longest"): -1.0}
            for k, chain in enumerate(self.problem.chains):
                for b in (b for b in chain.arcs if m in chain.arcs[b]):
                    row[self.column("flow", k, b, m)] = float(chain.work_ms)
            for u, visit in enumerate(self.problem.visit_ms):
                row[self.column("visit", u, m)] = float(visit)
            yield row

    def dense(self, rows):
        table = np.zeros((len(rows), len(self.names)))
        for r, row in enumerate(rows):
            table[r, list(row)] = list(row.values())
        return table

    def value(self):
        equal, right, below = self.flows()
        below += self.loads()
        cost = np.zeros(len(self.names))
        cost[self.column("longest")] = 1.0
        done = linprog(
            cost, A_ub=self.dense(below), b_ub=np.zeros(len(below)),
            A_eq=self.dense(equal), b_eq=right,
        )  # fmt: skip
        assert done.status == 0
        return done.fun


@pytest.mark.parametrize("seed", range(100, 130))
def test_the_bound_is_that_of_an_outside_program(seed):
    problem = made(seed, days=7, chains=9)
    lower, _ = lower_bounds(problem)
    assert lower == pytest.approx(Outside(problem).value(), abs=1.01)
    assert lower <= level(problem).longest_ms


def test_what_has_no_room_is_put_back_and_told():
    late = {START: (1,)}
    chains = tuple(Chain(0, 10, 1, {START: (0,), 0: (2,), 1: (2,)}, late) for _ in range(2))
    problem = ChainProblem(chains, np.array([0]), np.array([15, 15]))
    found = level(problem)
    assert sorted(found.mornings) == [(0,), (1,)]
    assert len(found.late) == 1


def test_a_chain_that_leads_nowhere_is_refused():
    problem = ChainProblem(
        (Chain(0, 1, 1, {START: (0,), 0: ()}, {}),), np.array([0]), np.array([10])
    )
    with pytest.raises(UnfitProblem, match="later mornings"):
        level(problem)
