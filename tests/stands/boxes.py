"""A machine made of boxes, placed by hand, so that every figure beside an assert can be derived."""

from types import SimpleNamespace

import numpy as np
from shapely.geometry import box

from greaseroute.catalogue.joint import Dose, Fitting, Interval, Joint, LookPoint
from greaseroute.catalogue.kinematics.placed import (
    PlacedDeck,
    PlacedFitting,
    PlacedLook,
    PlacedMachine,
    PlacedSolid,
    Pose,
)

DOSE = Dose(cm3=(2.0, 3.0))
EVERY_50_H = Interval(hours=50.0)


def solid(low, high, *, link="body"):
    """An upright box from corner ``low`` to corner ``high``."""
    planes = []
    for axis in range(3):
        for sign, bound in ((-1.0, low[axis]), (1.0, high[axis])):
            normal = [0.0, 0.0, 0.0]
            normal[axis] = sign
            planes.append([*normal, -sign * bound])
    corners = [
        [x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])
    ]
    return PlacedSolid(
        link=link,
        name=link,
        points_m=np.asarray(corners),
        planes=np.asarray(planes),
        footprint=box(low[0], low[1], high[0], high[1]),
        bottom_m=low[2],
        top_m=high[2],
        on_oil=False,
    )


def fitting(name, at_m, *, joint=None, head="conical"):
    joint = joint or Joint(
        name=name,
        links=("body", "arm"),
        fittings=(Fitting(name="1", link="body", position_m=(0.0, 0.0, at_m[2]), head=head),),
        dose=DOSE,
        interval=EVERY_50_H,
    )
    return PlacedFitting(joint, joint.fittings[0], "body", head, at_m)


def look(name, at_m):
    return PlacedLook(
        LookPoint(name=name, link="body", position_m=at_m, what="level"), "body", at_m
    )


def deck(name, footprint, height_m, foot_m):
    return PlacedDeck(name, footprint, height_m, foot_m, ("steps", "rails"))


def machine(
    solids, fittings=(), *, looks=(), decks=(), slew_clear=None, posture="parked", turn=0.0
):
    kind = SimpleNamespace(name="box", family="loader", cautions=(), posture=lambda name: None)
    return PlacedMachine(
        machine_type=kind,
        posture=posture,
        pose=Pose(0.0, 0.0, turn),
        solids=tuple(solids),
        fittings=tuple(fittings),
        looks=tuple(looks),
        decks=tuple(decks),
        slew_clear=slew_clear,
    )
