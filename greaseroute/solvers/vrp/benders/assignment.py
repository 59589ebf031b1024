"""Who may be assigned what: the technicians of a Benders decomposition."""

from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import BoolArray, IntArray
from greaseroute.solvers.vrp.bag import Bag


class Undecided(Exception):
    """Neither an assignment nor a proof that there is none, within the effort."""


@dataclass(frozen=True, slots=True, eq=False)
class Assignable:
    """The technicians and what each of them may visit.

    Attributes
    ----------
    type_of : (T,)
        The number of the list of cuts that holds for a technician.
    may : (units, T) bool
        Whom each unit can be assigned to; nobody where it is not visited.
    bags : (T,) of Bag
    """

    type_of: IntArray
    may: BoolArray
    bags: tuple[Bag, ...]

    @property
    def visited(self) -> IntArray:
        """Units that somebody visits."""
        return np.flatnonzero(self.may.any(axis=1))

    @property
    def movable(self) -> BoolArray:
        """(units,) which units more than one technician can visit."""
        # A unit that one technician alone can visit is not decided here.
        movable: BoolArray = self.may.sum(axis=1) > 1
        return movable
