"""Compiled kernels of the walks, loaded before the first walk waits for them."""

from shapely.geometry import box

from greaseroute.walk.ground import FreeGround

HEIGHTS_M = [(0.0, 0.0, 0.0), (4.0, 0.0, 1.0), (0.0, 4.0, 1.0)]


def load_kernels() -> None:
    """Walk round a block once: whatever is kept compiled is loaded, the rest compiled."""
    ground = FreeGround(box(0, 0, 4, 4), [box(1, 1, 3, 3)], heights=HEIGHTS_M)
    ground.travel([(0.5, 0.5), (3.5, 3.5)], slide=False)
