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
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.site.model import Site

MOST_WORKERS, ENOUGH_UNITS = 8, 12
PASSES_A_UNIT, LEAST_PASSES = 60, 2000  # seven rounds: far fewer passes than a single one


def round_planner(site: Site, *, seed: int) -> PlanMornings:
    """The round engine with few passes, mornings side by side on the processors there are.

    A small site is planned in this process: starting others takes longer than its rounds.
    """
    one = partial(_one_round, site, effort=week_effort(site, seed=seed, prove=False))
    workers = min(cores(), MOST_WORKERS)

    def planned(asked: Sequence[Asked]) -> Iterator[RoundPlan]:
        if workers == 1 or len(site.units) < ENOUGH_UNITS or len(asked) == 1:
            return (one(each) for each in asked)
        return _side_by_side(one, asked, workers=workers)

    return planned


def week_effort(site: Site, *, seed: int, prove: bool) -> Effort:
    """How long a morning of a week is searched for: the same where its round is planned again."""
    return Effort(seed, max(LEAST_PASSES, PASSES_A_UNIT * len(site.units)), prove=prove)


def _one_round(site: Site, asked: Asked, *, effort: Effort) -> RoundPlan:
    """The round of one morning, without the proof that a single round gets."""
    return plan_round(site, RoundRequest(asked.at, asked.items, guns=asked.guns), effort=effort)


def _side_by_side(
    one: Callable[[Asked], RoundPlan], asked: Sequence[Asked], *, workers: int
) -> Iterator[RoundPlan]:
    """Rounds in the order asked for; the same as one by one, since none depends on another."""
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(
        min(workers, max(1, len(asked))),
        mp_context=context,
        initializer=_begin_worker,
        initargs=(os.getpid(), unwritten()),
    ) as pool:
        waiting = [pool.submit(one, each) for each in asked]
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
