"""The rounds of a week, planned side by side."""

import gc
import multiprocessing
import os
import signal
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial

from greaseroute.forecast.week_rounds import Asked, PlanMornings
from greaseroute.kernel_cache import take_over, unwritten
from greaseroute.plan.round import RoundPlan
from greaseroute.processes import cores, die_with
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.rounds.standing import Standing
from greaseroute.site.model import Site

MOST_WORKERS, ENOUGH_UNITS = 8, 12
TRIAL_ROUNDS = 60
MOST_IN_A_ROW = 4  # mornings that a process takes at a time: more would be told of too late
PASSES_A_UNIT, LEAST_PASSES = 60, 2000  # seven rounds: far fewer passes than a single one


def round_planner(site: Site, *, seed: int) -> PlanMornings:
    """The round engine with few passes, mornings side by side on the processors there are.

    A small site is planned in this process: starting others takes longer than its rounds.
    """
    effort = week_effort(site, seed=seed, prove=False)
    workers, standing = min(cores(), MOST_WORKERS), Standing(site)

    def planned(asked: Sequence[Asked]) -> Iterator[RoundPlan]:
        if workers == 1 or len(site.units) < ENOUGH_UNITS or len(asked) == 1:
            return _rounds(standing, asked, effort=effort)
        return _side_by_side(partial(_some_rounds, site, effort=effort), asked, workers=workers)

    return planned


def week_effort(site: Site, *, seed: int, prove: bool) -> Effort:
    """How long a morning of a week is searched for: the same where its round is planned again."""
    return Effort(seed, max(LEAST_PASSES, PASSES_A_UNIT * len(site.units)), prove=prove)


def trial_rounds(site: Site) -> int:
    """How many rounds may be planned on trial while a week is levelled: none on a large site,
    where a round takes seconds."""
    return TRIAL_ROUNDS if len(site.units) < ENOUGH_UNITS else 0


def _rounds(standing: Standing, asked: Iterable[Asked], *, effort: Effort) -> Iterator[RoundPlan]:
    """The rounds of some mornings, without the proof that a single round gets."""
    for each in asked:
        request = RoundRequest(each.at, each.items, guns=each.guns)
        yield plan_round(standing.site, request, effort=effort, standing=standing)


def _some_rounds(site: Site, asked: Sequence[Asked], *, effort: Effort) -> list[RoundPlan]:
    """The same in a process of its own."""
    return list(_rounds(Standing(site), asked, effort=effort))


def _side_by_side(
    some: Callable[[Sequence[Asked]], list[RoundPlan]], asked: Sequence[Asked], *, workers: int
) -> Iterator[RoundPlan]:
    """Rounds in the order asked for; the same as one by one, since none depends on another.

    A process takes several mornings in a row: what it knows of machines and ground it keeps.
    """
    in_a_row = min(MOST_IN_A_ROW, -(-len(asked) // workers))
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(
        min(workers, max(1, len(asked))),
        mp_context=context,
        initializer=_begin_worker,
        initargs=(os.getpid(), unwritten()),
    ) as pool:
        parts = [asked[k : k + in_a_row] for k in range(0, len(asked), in_a_row)]
        for future in [pool.submit(some, part) for part in parts]:
            yield from future.result()


def _begin_worker(parent: int, compiled: dict[str, bytes]) -> None:
    """Set up a worker: it ends with its parent, heeds no Ctrl-C, and collects no garbage.

    It lives for a few rounds: what collecting frees is not worth the time. ``compiled`` are the
    kernels that could not be kept on disk.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    die_with(parent)
    take_over(compiled)
    gc.disable()
