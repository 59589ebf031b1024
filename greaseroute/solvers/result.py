"""What every solver answers with: a value, a proved bound, and how they stand to each other."""

from dataclasses import dataclass
from typing import Literal

# optimal: value and bound are equal; bounded: there is a gap; interrupted: stopped by the user.
Status = Literal["optimal", "bounded", "interrupted"]


@dataclass(frozen=True, slots=True)
class Result:
    """The answer of a minimisation.

    Attributes
    ----------
    value : int
        What the solution costs.
    lower_bound : int
        Proved: no solution costs less.
    status : str
        ``optimal``, ``bounded`` or ``interrupted``.
    what : str
        How the bound was proved.
    iterations : int
        Iterations made.
    """

    value: int
    lower_bound: int
    status: Status
    what: str
    iterations: int
