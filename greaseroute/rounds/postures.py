"""Which postures to ask for: as few moves as possible for all that can be served."""

from collections.abc import Collection, Mapping, Sequence
from itertools import combinations
from typing import TypeVar

K = TypeVar("K")


def fewest_moves(
    served: Mapping[str, Collection[K]], *, now: str, wanted: Collection[K], order: Sequence[str]
) -> tuple[str, ...]:
    """Postures to be taken after ``now``, in catalogue order, that serve all that any would.

    Parameters
    ----------
    served : mapping
        What each posture serves.
    now : str
        The posture the unit stands in: no move is needed for it.
    wanted : collection
        What is to be served; what no posture serves is not counted.
    order : sequence of str
        Postures that may be asked for, in catalogue order; of equally good choices the first.
    """
    open_ = set(wanted) - set(served.get(now, ()))
    useful = [p for p in order if p != now and open_ & set(served.get(p, ()))]
    most = len(open_ & set().union(*(served[p] for p in useful))) if useful else 0
    for moves in range(len(useful) + 1):
        for chosen in combinations(useful, moves):
            got = open_ & set().union(*(served[p] for p in chosen))
            if len(got) == most:
                return chosen
    return tuple(useful)
