"""What a person standing somewhere gets a coupler onto: distance, height band, free line."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from greaseroute.site.reach import Reach

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

BANDS = ("kneel", "stoop", "stand", "overhead")
# Share of the standing shoulder height at which the shoulder is in each band: on both knees,
# bent at the hips, upright, upright. From memory of body proportions; no source.
SHOULDER_SHARE = (0.65, 0.75, 1.0, 1.0)
# The last part of the line, where hand and coupler are: a hand goes round an edge or into a
# bracket as deep as a hand is long (5th percentile woman about 0.16 m; from memory).
HAND_M = 0.15
# Solids are hulls round the real shape: a line that only grazes a face is not cut.
GRAZE_M = 0.001
# A fitting this little below the feet still counts as at the feet (a deck's edge, a rut).
BELOW_FEET_M = 0.05
# A look point is read, not touched: from this far, up to this high above the feet.
LOOK_M = 2.0
LOOK_HEIGHT_M = 2.4
EYES_ABOVE_SHOULDER_M = 0.15  # from memory of body proportions; no source


class Solid(Protocol):
    """What a placed solid must offer here: its link and the planes of its convex hull."""

    @property
    def link(self) -> str: ...  # noqa: D102

    @property
    def planes(self) -> Array: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class Hulls:
    """Convex hulls of one machine, stacked: ``planes`` (K, 4), first plane of each, its link."""

    planes: Array
    first: NDArray[np.int64]
    links: tuple[str, ...]

    @property
    def slices(self) -> list[slice]:
        """The planes of each hull."""
        ends = [*self.first[1:].tolist(), len(self.planes)]
        return [slice(a, b) for a, b in zip(self.first.tolist(), ends, strict=True)]


def stack_hulls(solids: Sequence[Solid]) -> Hulls:
    """Stack the planes ``a x + b y + c z + d <= 0`` of solids, normals brought to unit length."""
    if not solids:
        return Hulls(np.zeros((0, 4)), np.zeros(0, dtype=np.int64), ())
    planes = np.vstack([np.asarray(s.planes, dtype=float) for s in solids])
    planes = planes / np.linalg.norm(planes[:, :3], axis=1, keepdims=True)
    first = np.cumsum([0, *(len(s.planes) for s in solids[:-1])])
    return Hulls(planes, first.astype(np.int64), tuple(s.link for s in solids))


def band_numbers(height_m: Array, reach: Reach) -> NDArray[np.int64]:
    """Band of each height above the feet, as a number into ``BANDS``; -1 where none fits."""
    limits = [reach.kneel_to_m, reach.stoop_to_m, reach.stand_to_m, reach.overhead_to_m]
    band = np.searchsorted(np.asarray(limits), height_m - 1e-9, side="left")
    return np.where((band > 3) | (height_m < -BELOW_FEET_M), -1, band).astype(np.int64)


def band_seconds(reach: Reach) -> tuple[float, ...]:
    """Seconds that going down (or up) to each band and back costs, in the order of ``BANDS``."""
    return (reach.kneel_s, reach.stoop_s, reach.stand_s, reach.overhead_s)


def shoulder_heights_m(reach: Reach) -> tuple[float, ...]:
    """Height of the shoulder above the feet in each band, in the order of ``BANDS``."""
    return tuple(share * reach.shoulder_m for share in SHOULDER_SHARE)


def first_cut(
    start: Array, end: Array, *, hulls: Hulls, slack_m: float = HAND_M, graze_m: float = GRAZE_M
) -> NDArray[np.int64]:
    """Number of the solid that cuts each line first, -1 where the line is free.

    Parameters
    ----------
    start, end : (k, 3) arrays
        Shoulder and fitting, metres. The last ``slack_m`` of each line are not looked at.
    graze_m : float
        A line that is less deep than this inside a solid is not cut.
    """
    from greaseroute.stands.kernel_sight_line import cut_first

    length = np.linalg.norm(end - start, axis=1)
    stop = np.maximum(0.0, 1.0 - slack_m / np.maximum(length, 1e-9))
    solid = np.empty(len(start), np.int64)
    begin, finish = (np.ascontiguousarray(at, np.float64) for at in (start, end))
    cut_first(begin, finish, stop, hulls.planes, hulls.first, graze_m, solid)
    return solid


def serves(feet_m: Array, fittings_m: Array, *, hulls: Hulls, reach: Reach, hose_m: Array) -> Mask:
    """Which fittings are in reach from which places.

    In reach: horizontal distance at most arm + hose, height above the feet inside a band, and
    the line from that band's shoulder to the fitting not cut by a solid before the last
    ``HAND_M``.

    Parameters
    ----------
    feet_m : (n, 3) array
        Places for the feet; z is the height of the ground (0) or of the deck.
    fittings_m : (m, 3) array
    hulls : Hulls
        The machine's solids.
    hose_m : (m,) array
        Hose of the gun used at each fitting.

    Returns
    -------
    (n, m) bool array
    """
    near = flat_m(feet_m, fittings_m) <= reach.arm_m + hose_m[None, :] + 1e-9
    band = band_numbers(fittings_m[None, :, 2] - feet_m[:, 2:3], reach)
    table = near & (band >= 0)
    who, what = np.nonzero(table)
    shoulder = feet_m[who].copy()
    shoulder[:, 2] += np.asarray(shoulder_heights_m(reach))[band[who, what]]
    table[who, what] = first_cut(shoulder, fittings_m[what], hulls=hulls) < 0
    return table


def sees(feet_m: Array, points_m: Array, *, hulls: Hulls, reach: Reach) -> Mask:
    """Which look points can be read from which places: near, not too high, line from the eyes."""
    height = points_m[None, :, 2] - feet_m[:, 2:3]
    table = (flat_m(feet_m, points_m) <= LOOK_M) & (height <= LOOK_HEIGHT_M)
    table &= height >= -BELOW_FEET_M
    who, what = np.nonzero(table)
    eyes = feet_m[who].copy()
    eyes[:, 2] += reach.shoulder_m + EYES_ABOVE_SHOULDER_M
    table[who, what] = first_cut(eyes, points_m[what], hulls=hulls, slack_m=2 * HAND_M) < 0
    return table


def flat_m(feet_m: Array, points_m: Array) -> Array:
    """Horizontal distances, (n, m) metres."""
    gap = feet_m[:, None, :2] - points_m[None, :, :2]
    return np.hypot(gap[..., 0], gap[..., 1])
