"""The array types of the solvers, and the two numbers that stand for a missing path."""

from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
WordArray = NDArray[np.uint64]  # the state of a random generator
CostArray = NDArray[np.signedinteger[Any]]  # 32 bits where they suffice, else 64

# In the arrays of a problem: there is no path from the row's point to the column's.
NO_PATH = -1

# What a float64 counts exactly: sums of costs and times stay below it.
LARGEST_SUM = 2**53

# Inside the solvers: no path, not allowed, or too late; in ms, in units of cost, or in units of a
# rounded dual. Sums of up to 31 such numbers do not overflow, and a float64 holds it exactly. It is
# a NumPy scalar because numba would compile a callee again for each bare literal.
FAR = cast(int, np.int64(2**58))

# The same for small numbers that kernels hand on; NOWHERE is "no such index".
ZERO, ONE, NOWHERE = cast(tuple[int, int, int], (np.int64(0), np.int64(1), np.int64(-1)))
