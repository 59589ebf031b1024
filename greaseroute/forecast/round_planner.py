"""The rounds of a week, planned side by side."""

import gc
import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial

from greaseroute.forecast.week_rounds import Asked, PlanMornings
from greaseroute.kernel_cache import take_over, unwritten
from greaseroute.plan.round import RoundPlan
from greaseroute.processes import cores, die_with
from greaseroute.rounds.quick import quick_round
from greaseroute.site.model import Site

MOST_WORKERS, ENOUGH_UNITS = 8, 12
PASSES_A_UNIT, LEAST_PASSES = 60, 2000  # seven rounds: far fewer passes than a single one


def round_planner(site: Site, *, seed: int) -> PlanMornings:
    """The round engine with few passes, mornings side by side on the processors there are.

    A small site is planned in this process: starting others takes longer than its rounds.
    """
    passes = max(LEAST_PASSES, PASSES_A_UNIT * len(site.units))
    one = partial(quick_round, site, seed=seed, iterations=passes)
    workers = min(cores(), MOST_WORKERS)
    if workers == 1 or len(site.units) < ENOUGH_UNITS:
        return lambda asked: (one(at=at, work=items) for at, items in asked)
    return lambda asked: _side_by_side(one, asked, workers=workers)


def _side_by_side(
    one: Callable[..., RoundPlan], asked: Sequence[Asked], *, workers: int
) -> Iterator[RoundPlan]:
    """Rounds in the order asked for; the same as one by one, since none depends on another."""
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(
        min(workers, max(1, len(asked))),
        mp_context=context,
        initializer=_begin_worker,
        initargs=(os.getpid(), unwritten()),
    ) as pool:
        waiting = [pool.submit(one, at=at, work=items) for at, items in asked]
        for future in waiting:
            yield future.result()


def _begin_worker(parent: int, compiled: dict[str, bytes]) -> None:
    """Set up a worker: it ends with its parent, heeds no Ctrl-C, and collects no garbage.

    It lives for a few rounds: what collecting frees is not worth the time. ``compiled`` are the
    kernels that could not be kept on disk.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    die_with(parent)
    take_over(compiled)
    gc.disable()
