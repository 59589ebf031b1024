"""Setting a tool down: the angles of boom and stick at which it touches the ground."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from greaseroute.catalogue.kinematics.chain import Chain
from greaseroute.catalogue.kinematics.link_frames import check_cylinders, link_frames
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.catalogue.posture import Posture
from greaseroute.errors import PostureRefused

# Tried at the stick and at the tool; the boom follows from them. All three are our settings.
STICK_DEG = range(-75, 76, 3)
TOOL_STEP_DEG = 3
# A boom that moves lifts all pins of the front end, a stick only its own: it costs more.
BOOM_COST, STICK_COST, TOOL_COST = 5.0, 1.0, 2.0


def pitch_chain(machine: MachineType, tool: str) -> tuple[str, ...]:
    """Links between the machine's first link and ``tool`` that pitch, from the foot outwards."""
    chain: list[str] = []
    parent = machine.links_by_name[tool].parent
    while parent is not None:
        link = machine.links_by_name[parent]
        if link.axis == "pitch":
            chain.append(link.name)
        parent = link.parent
    return tuple(reversed(chain))


@dataclass(frozen=True, slots=True)
class Ground:
    """How a tool is to lie: its x axis so many degrees above level, give or take ``within_deg``."""

    deg: float
    within_deg: float = 0.0

    @property
    def tried_deg(self) -> tuple[float, ...]:
        """Angles to try, the wanted one first."""
        reach = int(self.within_deg // TOOL_STEP_DEG) * TOOL_STEP_DEG
        offsets = sorted(range(-reach, reach + 1, TOOL_STEP_DEG), key=abs)
        return tuple(self.deg + offset for offset in offsets)


def set_down(
    machine: MachineType, posture: Posture, *, tool: str, ground: Ground
) -> Posture | None:
    """The posture with ``tool`` lying as told and its lowest corner on the ground.

    Of all angles of stick and tool at which linkages close and cylinders keep their strokes those
    that change the posture least. None where there are none.
    """
    found = sorted(_ways(machine, posture, tool=tool, ground=ground), key=lambda way: way[0])
    return next((laid for _, laid in found if _allowed(machine, laid)), None)


def _allowed(machine: MachineType, posture: Posture) -> bool:
    try:
        check_cylinders(machine, posture, link_frames(machine, posture))
    except PostureRefused:
        return False
    return True


@dataclass(frozen=True, slots=True)
class _Swing:
    """How a tool's pin goes round the boom's foot with the stick held at an angle.

    Its height is ``foot_m`` + ``radius_m`` x sin(boom angle + ``start_deg``).
    """

    stick_deg: float
    foot_m: float
    radius_m: float
    start_deg: float

    def boom_deg(self, height_m: float) -> tuple[float, ...]:
        """The boom's angles (at most two) that bring the pin to a height."""
        sine = (height_m - self.foot_m) / self.radius_m
        if abs(sine) > 1.0:
            return ()
        low_deg = math.degrees(math.asin(sine))
        return tuple(
            (reached_deg - self.start_deg + 180.0) % 360.0 - 180.0
            for reached_deg in (low_deg, 180.0 - low_deg)
        )


def _ways(
    machine: MachineType, posture: Posture, *, tool: str, ground: Ground
) -> Iterator[tuple[float, Posture]]:
    """Postures in which the tool touches the ground, each with what it costs to go there."""
    chain, given = pitch_chain(machine, tool), posture.angles_deg
    depths_m = {lies: _depth_m(machine, posture, tool, lies_deg=lies) for lies in ground.tried_deg}
    for stick_deg in STICK_DEG if len(chain) > 1 else (0,):
        swing = _swing(machine, posture, tool, stick_deg=stick_deg)
        for lies_deg, depth_m in depths_m.items():
            for boom_deg in swing.boom_deg(depth_m):
                turned = {**given, chain[-1]: given[chain[-1]] + stick_deg, chain[0]: boom_deg}
                turned[tool] = lies_deg - sum(turned[name] for name in chain)
                cost = BOOM_COST * abs(boom_deg - given[chain[0]]) + STICK_COST * abs(stick_deg)
                cost += TOOL_COST * abs(lies_deg - ground.deg)
                yield cost, posture.model_copy(update={"angles_deg": turned, "lengths_m": {}})


def _turned(machine: MachineType, posture: Posture, angles: dict[str, float]) -> Chain:
    changed = {**posture.angles_deg, **angles}
    return Chain(machine, posture.model_copy(update={"angles_deg": changed, "lengths_m": {}}))


def _swing(machine: MachineType, posture: Posture, tool: str, *, stick_deg: float) -> _Swing:
    chain = pitch_chain(machine, tool)
    angles = {chain[-1]: posture.angles_deg[chain[-1]] + stick_deg, chain[0]: 0.0, tool: 0.0}
    frames = _turned(machine, posture, angles)
    foot, pin = frames.frame(chain[0]), frames.frame(tool)
    across, _, up = (np.linalg.inv(foot) @ pin)[:3, 3].tolist()
    start_deg = math.degrees(math.atan2(up, across))
    return _Swing(stick_deg, float(foot[2, 3]), math.hypot(across, up), start_deg)


def _depth_m(machine: MachineType, posture: Posture, tool: str, *, lies_deg: float) -> float:
    """How far the tool's lowest corner lies below its pin when it lies at that angle."""
    frames = _turned(machine, posture, {tool: 0.0})
    back = np.asarray(np.linalg.inv(frames.frame(tool)), np.float64)
    moved = machine.below(tool)
    points = [
        body.moved(back @ frames.frame(body.link)).points_m
        for body in machine.bodies
        if body.link in moved
    ]
    corners = np.vstack(points)
    lies = math.radians(lies_deg)
    return -float((math.sin(lies) * corners[:, 0] + math.cos(lies) * corners[:, 2]).min())
