"""Compiled: every way of sharing a few units out, from each technician's labels for each set."""

# Argument lists stay in rows: one argument a line would hide the code.
# fmt: off

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, IntArray
from greaseroute.solvers.vrp.kernels import label_setting

LABELS = 8  # ends of one state that are told apart; the earliest is never dropped
TIME, WALK, LABEL = 0, 1, 2  # rows of an end: when, how long the walk was, which label it is
TECHNICIAN, ADDS, LOSS = 0, 1, 2  # rows of a choice


@cached_njit
def ends_of(label: IntArray, head: IntArray, states: int) -> tuple[IntArray, IntArray]:
    """Times and lengths of every state that do not beat each other: (3, states, LABELS), counts."""
    end = np.zeros((3, states, LABELS), dtype=np.int64)
    count = np.zeros(states, dtype=np.int64)
    per_state = head.shape[0] // states
    for state in range(states):
        k = head[(state + 1) * per_state - 1]
        while k >= 0:
            keep(end, count, state, label, k)
            k = label[k, label_setting.NEXT]
    return end, count


@njit(nogil=True)
def keep(end: IntArray, count: IntArray, state: int, label: IntArray, k: int) -> None:
    """Keep an end of a state by time, unless another is as early and as short."""
    time, walk = label[k, label_setting.TIME], label[k, label_setting.WALK]
    n, at = count[state], 0
    while at < n and (end[TIME, state, at], end[WALK, state, at]) <= (time, walk):
        if end[WALK, state, at] <= walk:
            return
        at += 1
    kept = at
    for i in range(at, n):  # those after it that are no shorter go
        if end[WALK, state, i] < walk:
            for row in range(3):
                end[row, state, kept] = end[row, state, i]
            kept += 1
    if at >= LABELS:
        return
    for i in range(min(kept, LABELS - 1), at, -1):
        for row in range(3):
            end[row, state, i] = end[row, state, i - 1]
    end[TIME, state, at], end[WALK, state, at], end[LABEL, state, at] = time, walk, k
    count[state] = min(kept + 1, LABELS)


@njit(nogil=True)
def best_end(end: IntArray, count: IntArray, t: int, state: int, cap: int, shortest: bool) -> int:
    """Earliest end of a state, or the shortest not after ``cap``; -1 for none.

    Ends are sorted: each later one is shorter.
    """
    best = -1
    for k in range(count[t, state]):
        if end[TIME, t, state, k] > cap:
            break
        best = k
        if not shortest:
            break
    return best


# Long: compiled; its pieces would hand eight arrays about.
@cached_njit
def share_out(
    end: IntArray, count: IntArray, choice: IntArray, first_choice: IntArray, start_ms: IntArray,
    cap: int, value: IntArray, pick: IntArray, states: IntArray,
) -> None:
    """Every way of giving the units to the technicians; the best goes into value and states.

    ``choice`` (3, choices) has rows: technician (-1: left out), what it adds to the state, loss.
    With ``cap`` FAR the least loss and then the earliest last finish are sought (value 0, 1), else
    among those of that loss and not after ``cap`` the least length, then spread (2, 3).
    """
    n_tech, units = count.shape[0], first_choice.shape[0] - 1
    state = np.zeros(n_tech, dtype=np.int64)
    for u in range(units):
        pick[u] = first_choice[u]
    while True:
        lost, last, walk, longest, least = 0, 0, 0, 0, FAR
        for t in range(n_tech):
            state[t] = 0
        for u in range(units):
            lost += choice[LOSS, pick[u]]
            if choice[TECHNICIAN, pick[u]] >= 0:
                state[choice[TECHNICIAN, pick[u]]] += choice[ADDS, pick[u]]
        good = lost <= value[0]
        for t in range(n_tech):
            if not good or count[t, 0] == 0:
                good = good and state[t] == 0
                continue
            k = best_end(end, count, t, state[t], cap, bool(cap < FAR))
            if k < 0:
                good = False
                continue
            time = end[TIME, t, state[t], k]
            last, walk = max(last, time), walk + end[WALK, t, state[t], k]
            longest, least = max(longest, time - start_ms[t]), min(least, time - start_ms[t])
        if good and cap >= FAR:
            good = lost < value[0] or last < value[1]
        elif good:
            good = walk < value[2] or (walk == value[2] and longest - least < value[3])
        if good:
            value[0], value[1], value[2], value[3] = lost, last, walk, longest - least
            for t in range(n_tech):
                states[t] = state[t]
        u = 0
        while u < units:
            pick[u] += 1
            if pick[u] < first_choice[u + 1]:
                break
            pick[u] = first_choice[u]
            u += 1
        if u == units:
            return
