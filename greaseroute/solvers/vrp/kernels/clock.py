"""Compiled: the times of one technician who takes some ways one after the other."""

import numpy as np

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, IntArray
from greaseroute.solvers.vrp.kernels.cartridges import pump
from greaseroute.solvers.vrp.kernels.legs import leg
from greaseroute.solvers.vrp.layout import (
    CHANGE_MS,
    ENTER,
    GUN_LEFT,
    GUNS,
    LEAVE,
    OPENS,
    PER_GUN,
    START_MS,
    STROKES,
    WALKER,
    WORK,
    Instance,
)

# Columns of a table of times; cartridges put in for gun g are in column PUT_IN + g.
DEPART, ARRIVE, BEGIN, LEFT_AT, PHASE, LENGTH, PUT_IN = 0, 1, 2, 3, 4, 5, 6


@cached_njit
def times_of(inst: Instance, t: int, chain: IntArray) -> IntArray:
    """(stops, 6 + G) when technician t sets off for each way of a chain, arrives, begins, leaves.

    The first way is the start, which has no leg to it. Closing times are not looked at. From a
    stop that cannot be reached on, times are ``FAR`` or later.
    """
    guns, crew, way = inst.level.shape[1] - STROKES, inst.crew, inst.way
    table = np.zeros((chain.shape[0], PUT_IN + guns), dtype=np.int64)
    left, now = np.zeros(guns, dtype=np.int64), crew[t, START_MS]
    for gun in range(guns):
        left[gun] = crew[t, GUNS + PER_GUN * gun + GUN_LEFT]
    for column in range(LEFT_AT + 1):
        table[0, column] = now
    for i in range(1, chain.shape[0]):
        p, q = way[LEAVE, chain[i - 1]], way[ENTER, chain[i]]
        arrive, depart, phase = FAR, now, 0
        if now < FAR:
            arrive, depart, phase = leg(inst.travel, inst.phase_from, crew[t, WALKER], p, q, now)
        table[i, DEPART], table[i, ARRIVE], table[i, PHASE] = depart, arrive, phase
        table[i, LENGTH] = inst.length[phase, p, q]
        put_in = table[i, PUT_IN:]
        pump(way, inst.run, crew, t, chain[i], left, put_in)
        table[i, BEGIN] = max(arrive, way[OPENS, chain[i]])
        now = table[i, BEGIN] + way[WORK + t, chain[i]]
        for gun in range(guns):
            now += put_in[gun] * crew[t, GUNS + PER_GUN * gun + CHANGE_MS]
        table[i, LEFT_AT] = now
    return table
