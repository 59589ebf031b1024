"""Shapes in a machine type: chains close, cylinders fit, fittings sit on a surface."""

from collections.abc import Iterator, Sequence

import numpy as np

from greaseroute.catalogue.bodies import Body, bodies_of
from greaseroute.catalogue.frames import Frame, point_at
from greaseroute.catalogue.hull import Array, depth_m, outside_m
from greaseroute.catalogue.kinematics.link_frames import (
    cylinder_length,
    cylinder_trouble,
    link_frames,
)
from greaseroute.catalogue.kinematics.stance import machine_bodies
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.errors import PostureRefused
from greaseroute.texts.finding import Finding
from greaseroute.texts.toml_places import KeyPath

# A head may sit in a recess; deeper than this no coupler gets to it. Both are our settings.
DEEP_M = 0.05
FAR_M = 0.15


def shape_findings(machine: MachineType) -> Iterator[Finding]:
    """Every posture that cannot be taken, every fitting inside a solid or away from any.

    The names must be sound (``name_findings`` empty), else a KeyError may come.
    """
    flat = list(_flat_solids(machine))
    yield from flat
    sound = []
    for i, posture in enumerate(machine.postures):
        try:
            frames = link_frames(machine, posture)
        except PostureRefused as refused:
            yield Finding(("postures", i), refused.value, refused.limit, refused.next_step)
            continue
        yield from _lengths(machine, frames, path=("postures", i))
        sound.append((posture.name, frames))
    if sound and not flat:
        # Fittings are judged where they are pumped.
        name, frames = next((pair for pair in sound if pair[0] == "greasing"), sound[0])
        yield from _fittings(machine, frames, posture=name)


def _flat_solids(machine: MachineType) -> Iterator[Finding]:
    for i, link in enumerate(machine.links):
        for k, solid in enumerate(link.solids):
            try:
                bodies_of((link.model_copy(update={"solids": (solid,)}),))
            except ValueError as flat:
                allowed = "corners that span a body"
                yield Finding(("links", i, "solids", k), str(flat), allowed, "move a corner")


def _lengths(machine: MachineType, frames: dict[str, Frame], *, path: KeyPath) -> Iterator[Finding]:
    for cylinder in machine.cylinders:
        trouble = cylinder_trouble(cylinder, cylinder_length(cylinder, frames))
        if trouble:
            do = "change the angles of the posture, the pins or the stroke of the cylinder"
            yield Finding(path, trouble, "a length within the stroke", do)


def _fittings(machine: MachineType, frames: dict[str, Frame], *, posture: str) -> Iterator[Finding]:
    bodies = machine_bodies(machine, frames)
    for i, joint in enumerate(machine.joints):
        for k, fitting in enumerate(joint.fittings):
            at = np.array(point_at(frames[fitting.link], fitting.position_m))
            path = ("joints", i, "fittings", k, "position_m")
            yield from _seat(path, at, bodies, posture=posture)


def _seat(path: KeyPath, at: Array, bodies: Sequence[Body], *, posture: str) -> Iterator[Finding]:
    for body in bodies:
        deep_m = depth_m(body.planes, at)
        if deep_m > DEEP_M:
            where = f"{deep_m * 1000:.0f} mm inside {body.name} of {body.link} when {posture}"
            allowed = f"at most {DEEP_M * 1000:.0f} mm below a surface"
            yield Finding(path, where, allowed, "move the fitting out to the surface")
            return
    # The largest signed plane distance never exceeds the true one: it sorts out most bodies.
    near = [body for body in bodies if -depth_m(body.planes, at) <= FAR_M]
    if not any(outside_m(body.planes, at) <= FAR_M for body in near):
        where = f"more than {FAR_M * 1000:.0f} mm from any solid when {posture}"
        yield Finding(
            path, where, "on or near a solid's surface", "move the fitting or add a solid"
        )
