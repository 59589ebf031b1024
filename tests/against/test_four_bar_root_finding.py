"""Closed chains against a second formulation: the closure equations solved by scipy's fsolve.

Nothing is shared with the package's way (meeting circles): the unknowns are the angles, the
equations the two components of the vector loop, the solver is MINPACK's hybrid method.
"""

import math
import random

import numpy as np
import pytest
from scipy.optimize import fsolve

from greaseroute.catalogue.kinematics.link_frames import (
    cylinder_length,
    four_bar_residual,
    link_angles,
    link_frames,
)
from greaseroute.catalogue.posture import Posture
from greaseroute.catalogue.shelf import shelf_names, shelf_type
from greaseroute.errors import PostureRefused

WITH_FOUR_BARS = [name for name in shelf_names() if shelf_type(name).four_bars]
POSTURES = 1000


def turned(degrees, pin):
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array((c * pin[0] - s * pin[2], s * pin[0] + c * pin[2]))


def loop(machine, bar):
    """The vector loop of a four-bar: zero where crank, coupler and rocker close."""
    links = machine.links_by_name
    crank, coupler, rocker = (links[n] for n in (bar.crank, bar.coupler, bar.rocker))
    ground = np.array((crank.pivot_m[0] - rocker.pivot_m[0], crank.pivot_m[2] - rocker.pivot_m[2]))

    def gap(crank_deg, coupler_deg, rocker_deg):
        return (
            ground
            + turned(crank_deg, coupler.pivot_m)
            + turned(crank_deg + coupler_deg, bar.coupler_pin_m)
            - turned(rocker_deg, bar.rocker_pin_m)
        )

    return gap


def random_postures(machine, bar, rng):
    """Postures with the rocker turned at random, as far as the chain closes."""
    greasing = machine.posture("greasing")
    while True:
        angles = dict(greasing.angles_deg)
        angles[bar.rocker] += rng.uniform(-60, 60)
        yield Posture(name="drawn", angles_deg=angles)


def test_four_bars_close_as_the_root_finder_says():
    rng = random.Random(20260302)
    each = POSTURES // len(WITH_FOUR_BARS) + 1
    checked = 0
    for name in WITH_FOUR_BARS:
        machine = shelf_type(name)
        (bar,) = machine.four_bars
        gap = loop(machine, bar)
        done = 0
        for posture in random_postures(machine, bar, rng):
            try:
                found = link_angles(machine, posture)
            except PostureRefused:
                continue
            frames = link_frames(machine, posture)
            assert four_bar_residual(bar, frames) < 1e-9
            start = np.array((found[bar.crank], found[bar.coupler])) + rng.uniform(-3, 3)
            rocker = found[bar.rocker]
            root, _, ended, _ = fsolve(
                lambda x, gap=gap, rocker=rocker: gap(x[0], x[1], rocker),
                start,
                full_output=True,
                xtol=1e-13,
            )
            # Where the chain is nearly stretched the two closures are close together and a root
            # finder may take either; both angles must then still close.
            assert ended == 1 or np.abs(gap(*root, rocker)).max() < 1e-9
            if np.abs(root - start).max() < 6:
                assert root == pytest.approx((found[bar.crank], found[bar.coupler]), abs=1e-5)
                done += 1
            if done == each:
                break
        checked += done
    assert checked >= POSTURES


def test_posture_driven_by_cylinder_length_gives_that_length():
    # The same posture told by the length of the boom cylinder instead of the boom's angle.
    machine = shelf_type("crawler-excavator-22t")
    cylinders = tuple(c.model_copy(update={"rod_side": "right"}) for c in machine.cylinders)
    machine = machine.model_copy(update={"cylinders": cylinders})
    base = machine.posture("greasing")
    boom = next(c for c in cylinders if c.name == "left boom cylinder")
    rng = random.Random(7)
    told = base.angles_deg["boom"]
    length_m = cylinder_length(boom, link_frames(machine, "greasing"))
    angles = {k: v for k, v in base.angles_deg.items() if k != "boom"}
    posture = Posture(name="drawn", angles_deg=angles, lengths_m={boom.name: length_m})
    assert link_angles(machine, posture)["boom"] == pytest.approx(told, abs=1e-9)
    for _ in range(100):
        length_m = rng.uniform(boom.retracted_m, boom.extended_m)
        posture = Posture(name="drawn", angles_deg=angles, lengths_m={boom.name: length_m})
        frames = link_frames(machine, posture)
        assert cylinder_length(boom, frames) == pytest.approx(length_m, abs=1e-9)
