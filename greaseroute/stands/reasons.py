"""Why a fitting is out of reach, in the words a technician would use."""

from dataclasses import dataclass

import numpy as np
from shapely.geometry.base import BaseGeometry

from greaseroute.site.reach import Reach
from greaseroute.stands.reach import (
    LOOK_HEIGHT_M,
    LOOK_M,
    Array,
    Hulls,
    Mask,
    band_numbers,
    first_cut,
    flat_m,
    shoulder_heights_m,
)
from greaseroute.stands.stand import OutOfReach, Wanted


@dataclass(frozen=True, slots=True)
class Around:
    """What was looked at: places on the ground (n, 3), the machine's hulls, who reaches, fences."""

    ground: Array
    hulls: Hulls
    reach: Reach
    fences: BaseGeometry | None = None


def out_of_reach(wanted: Wanted, around: Around, *, from_deck: str | None = None) -> OutOfReach:
    """The first of: no ground, too high, arm too short, hidden; ``from_deck`` would serve it."""
    helps = f"from the {from_deck}" if from_deck else ""
    return OutOfReach(wanted, _reason(wanted, around), helps)


def _reason(wanted: Wanted, around: Around) -> str:
    if not len(around.ground):
        return "no free ground beside it"
    top_m = LOOK_HEIGHT_M if wanted.look else around.reach.overhead_to_m
    if wanted.at_m[2] > top_m:
        return f"{wanted.at_m[2] - top_m:.2f} m too high from the ground"
    far = flat_m(around.ground, np.asarray([wanted.at_m]))[:, 0]
    reach_m = LOOK_M if wanted.look else around.reach.arm_m + wanted.hose_m
    if far.min() > reach_m:
        return f"arm {far.min() - reach_m:.2f} m too short"
    return _hidden(wanted, around, near=far <= reach_m)


def _hidden(wanted: Wanted, around: Around, *, near: Mask) -> str:
    feet = around.ground[near]
    band = band_numbers(np.asarray([wanted.at_m[2]]), around.reach)[0]
    shoulder = feet + np.asarray([0.0, 0.0, shoulder_heights_m(around.reach)[max(band, 0)]])
    goal = np.broadcast_to(np.asarray(wanted.at_m), shoulder.shape)
    solid = first_cut(shoulder, goal, hulls=around.hulls)
    cutting = solid[solid >= 0].astype(int)
    if not len(cutting):
        return "hidden" if around.fences is None else "hidden behind a barrier"
    return f"hidden behind {around.hulls.links[int(np.bincount(cutting).argmax())]}"
