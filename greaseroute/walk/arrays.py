"""Names for the arrays that the walking modules pass about."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Nodes = NDArray[np.int32]  # numbers of corners in tables that grow with the square of a site
Flags = NDArray[np.bool_]
