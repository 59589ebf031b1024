"""What is asked of the planner: the work, who does it, an order to keep, how long to search."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from greaseroute.plan.round import LeftOut
from greaseroute.visits.work import WorkItem


@dataclass(frozen=True, slots=True)
class Keep:
    """An order to keep to: units of each technician by name; what a unit moved in it costs."""

    sequences: Mapping[str, tuple[str, ...]]
    change_cost_s: float


@dataclass(frozen=True, slots=True, eq=False)
class RoundRequest:
    """What the caller asks for: the moment, the work (None: what is due), who, until when.

    ``with_looks``: the daily checks that are due are done as well; with ``every_look`` all of them.
    ``guns``: strokes left in guns at the start, where that is not what the site says.
    ``without`` are single fittings (unit, joint, fitting) to be left alone; ``left`` is what the
    caller has left out already.
    """

    at: datetime
    work: Sequence[WorkItem] | None = None
    with_looks: bool = False
    technicians: tuple[str, ...] | None = None
    finish_by: datetime | None = None
    keep: Keep | None = None
    without: frozenset[tuple[str, str, str]] = frozenset()
    left: tuple[LeftOut, ...] = ()
    guns: Mapping[str, int] | None = None
    every_look: bool = False


@dataclass(frozen=True, slots=True)
class Effort:
    """How long to search: a count of passes (same input, same plan), and a time limit if wished.

    ``prove``: a lower bound is sought as well.
    """

    seed: int = 1
    iterations: int | None = None
    limit_s: float | None = None
    prove: bool = True
