"""The shelf: enough families, every chain closed, every fitting on a surface and told honestly."""

from functools import cache

import numpy as np
import pytest
import shapely

from greaseroute.catalogue.hull import depth_m, outside_m
from greaseroute.catalogue.kinematics.link_frames import (
    cylinder_lengths,
    four_bar_residual,
    link_frames,
)
from greaseroute.catalogue.kinematics.placed import Pose, place
from greaseroute.catalogue.machine_type import CAUTION_KEYS
from greaseroute.catalogue.shelf import shelf_names, shelf_text, shelf_type
from greaseroute.errors import UnknownName
from greaseroute.site.reach import Reach
from greaseroute.stands.candidates import unit_stands
from greaseroute.stands.stand import Wanted
from greaseroute.walk.footprint import closed_ground

CLEARANCE_M = 0.25
HOSE_M = 0.254  # SAE J534 coupler with a 10-inch extension
WORDS = (  # each of these stands on the shelf, the numbers say how many of them at least
    ("crawler-excavator", 4),
    ("mini-excavator", 2),
    ("long-reach-excavator", 1),
    ("wheeled-excavator", 1),
    ("material-handler", 1),
    ("wheel-loader", 3),
    ("compact-wheel-loader", 1),
    ("skid-steer-loader", 1),
    ("backhoe-loader", 1),
    ("crawler-dozer", 2),
    ("pipelayer", 1),
    ("articulated-dumper", 1),
    ("rigid-dumper", 1),
    ("tracked-carrier", 1),
    ("grader", 1),
    ("scraper", 1),
    ("single-drum-roller", 1),
    ("tandem-roller", 1),
    ("rubber-tyred-roller", 1),
    ("landfill-compactor", 1),
    ("tipper-truck", 1),
    ("truck-tractor", 1),
    ("truck-mixer", 1),
    ("tipping-semitrailer", 1),
    ("tractor", 1),
    ("telescopic-handler", 1),
    ("yard-forklift", 1),
    ("reach-stacker", 1),
    ("crawler-drill-rig", 1),
    ("mobile-jaw-crusher", 1),
    ("mobile-cone-crusher", 1),
    ("mobile-screen", 1),
    ("mobile-conveyor", 1),
    ("asphalt-paver", 1),
    ("cold-planer", 1),
    ("chain-trencher", 1),
    ("forwarder", 1),
    ("scissor-platform", 1),
    ("boom-platform", 1),
)
PURPOSES = {
    "chisel paste",
    "crusher maker's own",
    "electric motor grease",
    "fifth-wheel grease",
    "hot-bearing grease",
}

every_type = pytest.mark.parametrize("name", shelf_names())


def fitted():
    """Each type as it is, and with each attachment of its own by itself."""
    for name in shelf_names():
        yield name, ()
        for attachment in shelf_type(name).attachments:
            yield name, (attachment.name,)


every_fit = pytest.mark.parametrize(("name", "attached"), list(fitted()))


def test_the_families_of_the_trade():
    assert len(shelf_names()) >= 38
    for word, least in WORDS:
        assert sum(name.startswith(word) for name in shelf_names()) >= least, word


def test_attachments_of_single_types():
    names = {a.name for name in shelf_names() for a in shelf_type(name).attachments}
    assert names == {"thumb", "ripper"}


def test_unknown_type_lists_the_shelf():
    with pytest.raises(UnknownName, match=r"'steam-shovel'; allowed: articulated-dumper-30t, "):
        shelf_type("steam-shovel")


@every_type
def test_file_says_where_its_figures_come_from(name):
    machine = shelf_type(name)
    assert "no source" in machine.origin
    assert "start values" in machine.origin
    assert "STOP" in machine.cautions
    assert set(machine.cautions) <= CAUTION_KEYS
    assert shelf_text(name).startswith("# ")


@every_fit
def test_chains_close_and_cylinders_fit(name, attached):
    machine = shelf_type(name).with_attachments(attached)
    for posture in machine.postures:
        frames = link_frames(machine, posture)
        for bar in machine.four_bars:
            assert four_bar_residual(bar, frames) < 1e-9
        lengths = cylinder_lengths(machine, posture)
        for cylinder in machine.cylinders:
            length_m = lengths[cylinder.name]
            assert cylinder.retracted_m - 1e-3 <= length_m <= cylinder.extended_m + 1e-3


@every_fit
def test_every_fitting_is_on_a_surface(name, attached):
    machine = shelf_type(name).with_attachments(attached)
    placed = place(machine, Pose(0, 0, 0), posture="greasing")
    for fitting in placed.fittings:
        at = np.array(fitting.at_m)
        deepest = max(depth_m(solid.planes, at) for solid in placed.solids)
        assert deepest <= 0.05, fitting.joint.name
        if deepest < 0:
            near = [s for s in placed.solids if -depth_m(s.planes, at) <= 0.15]
            assert min(outside_m(s.planes, at) for s in near) <= 0.15, fitting.joint.name


@cache
def missed(name, posture, attached=()):
    """Keys of fittings and of checks that no stand on open ground or a deck serves."""
    machine = shelf_type(name).with_attachments(attached)
    placed = place(machine, Pose(0, 0, 0), posture=posture)
    closed = closed_ground(placed)
    under = shapely.union_all(closed)
    around = under.buffer(8).difference(under.buffer(CLEARANCE_M, quad_segs=16))
    free = max(shapely.get_parts(around), key=lambda part: part.area)
    wanted = [
        Wanted(f.joint.name, f.fitting.name, f.at_m, HOSE_M)
        for f in placed.fittings
        if not f.joint.never_pump
    ]
    wanted += [Wanted(look.look.name, "", look.at_m, look=True) for look in placed.looks]
    stands = unit_stands(
        placed, wanted, closed=closed, free=free, clearance_m=CLEARANCE_M, reach=Reach()
    )
    return {out.wanted.key for out in stands.out_of_reach}


@every_fit
def test_a_fitting_is_in_reach_or_says_what_it_takes(name, attached):
    """And one that says so is truly out of reach: no data is bent, either way."""
    machine = shelf_type(name).with_attachments(attached)
    for joint in machine.joints:
        if not joint.by_hand:
            continue
        for fitting in joint.fittings:
            key = (joint.name, fitting.name)
            reached = any(key not in missed(name, posture, attached) for posture in joint.postures)
            if not joint.postures:
                postures = [p.name for p in machine.postures]
                reached = any(key not in missed(name, posture, attached) for posture in postures)
            assert reached == (fitting.takes is None), key


@every_type
def test_checks_are_in_sight(name):
    machine = shelf_type(name)
    for look in machine.looks:
        every = [p.name for p in machine.postures if p.name != "raised"]
        postures = [look.posture] if look.posture else every
        assert any((look.name, "") not in missed(name, p) for p in postures), look.name


def test_parked_excavator_keeps_some_fittings_too_high():
    # The stick drawn in and the boom up: that is what the service position is for.
    pin = ("boom-to-stick pin", "left")
    assert pin in missed("crawler-excavator-22t", "parked")
    assert pin not in missed("crawler-excavator-22t", "greasing")


def test_central_variant_still_pumps_its_tipping_linkage():
    machine = shelf_type("crawler-excavator-22t-central")
    central = {joint.name for joint in machine.joints if joint.central}
    assert "boom foot pin" in central
    assert "bucket pin" not in central


@every_type
def test_remote_fittings_sit_in_a_named_block_and_say_where_the_line_leads(name):
    for joint in shelf_type(name).joints:
        for fitting in joint.fittings:
            remote = fitting.head == "remote"
            assert remote == (fitting.bank is not None) == (fitting.feeds_m is not None)


@every_type
def test_every_grease_can_be_told(name):
    for joint in shelf_type(name).joints:
        if not joint.never_pump:
            assert joint.grease.code or joint.grease.nlgi or joint.grease.purpose in PURPOSES


@every_fit
def test_nothing_is_greased_while_it_hangs_on_oil(name, attached):
    machine = shelf_type(name).with_attachments(attached)
    for posture in machine.postures:
        placed = place(machine, Pose(0, 0, 0), posture=posture.name)
        if any(solid.on_oil for solid in placed.solids):
            allowed = [
                j.name
                for j in machine.joints
                if not j.never_pump and (not j.postures or posture.name in j.postures)
            ]
            assert allowed == [], posture.name


@every_type
def test_parked_and_greasing_rest_on_the_ground(name):
    for posture in ("parked", "greasing"):
        placed = place(shelf_type(name), Pose(0, 0, 0), posture=posture)
        assert [solid.link for solid in placed.solids if solid.on_oil] == []
