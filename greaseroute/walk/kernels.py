"""Compiled kernels of the walks, loaded before the first walk waits for them."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from shapely.geometry import box

from greaseroute.walk.ground import FreeGround

HEIGHTS_M = [(0.0, 0.0, 0.0), (4.0, 0.0, 1.0), (0.0, 4.0, 1.0)]
BLAS = "scipy.linalg.cython_blas"


def load_kernels() -> None:
    """Walk round a block once: whatever is kept compiled is loaded, the rest compiled."""
    ground = FreeGround(box(0, 0, 4, 4), [box(1, 1, 3, 3)], heights=HEIGHTS_M)
    with _without_blas():
        ground.travel([(0.5, 0.5), (3.5, 3.5)], slide=False)


@contextmanager
def _without_blas() -> Iterator[None]:
    """Let numba start as on a machine without scipy.

    It would load ``scipy.linalg`` for matrix products in kernels. None of ours has one, and loading
    took as long as all the kernels.
    """
    if BLAS in sys.modules:
        yield
        return
    sys.modules[BLAS] = None  # type: ignore[assignment]
    try:
        yield
    finally:
        del sys.modules[BLAS]
