"""Where to stand at one unit: on the ground round it and on its decks."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from greaseroute.catalogue.kinematics.placed import PlacedMachine
from greaseroute.site.reach import Reach
from greaseroute.stands.decks import DeckPoints, deck_points
from greaseroute.stands.fences import around_fences, through
from greaseroute.stands.grid import FINE_M, fine_grid, finest_grid, wholly_hidden
from greaseroute.stands.reach import (
    BANDS,
    LOOK_M,
    Array,
    Hulls,
    Mask,
    band_numbers,
    flat_m,
    sees,
    serves,
    stack_hulls,
)
from greaseroute.stands.reasons import Around, out_of_reach
from greaseroute.stands.ring import (
    NUDGE_M,
    around,
    close_to,
    nearest_points,
    on_ground,
    ring_points,
)
from greaseroute.stands.stand import OutOfReach, Stand, UnitStands, Wanted
from greaseroute.stands.thin import keep

# Free ground is looked at this far round the wanted fittings: an arm, a hose and some room.
LOCAL_M = 6.0
FINER_STANDS = 6
OFF_GRID_M = 1e-4 / np.pi


@dataclass(frozen=True, eq=False)
class Skin:
    """A machine in one posture with the ground it closes: all that is the same for any reach.

    Stands found for the same fittings, reach and free ground are found once.
    """

    placed: PlacedMachine
    closed: Sequence[Polygon]
    clearance_m: float
    _found: dict[tuple[object, ...], UnitStands] = field(default_factory=dict)

    @cached_property
    def hulls(self) -> Hulls:
        """Its solids, for lines of sight."""
        return stack_hulls(self.placed.solids)

    @cached_property
    def rings(self) -> Array:
        """Points round it, (n, 2)."""
        return ring_points(self.closed, self.placed.pose, clearance_m=self.clearance_m)

    @cached_property
    def fine_ring(self) -> Array:
        """Points at the limit of what it closes, some centimetres apart, (n, 2)."""
        return ring_points(
            self.closed, self.placed.pose, clearance_m=self.clearance_m, steps_m=(NUDGE_M,),
            spacing_m=FINE_M,
        )  # fmt: skip

    def once(self, key: tuple[object, ...], find: Callable[[], UnitStands]) -> UnitStands:
        """The stands of a question that has this key."""
        if key not in self._found:
            self._found[key] = find()
        return self._found[key]


@dataclass(frozen=True, slots=True)
class Places:
    """Candidate places in a fixed order: (n, 3), which deck (-1 ground), what each serves."""

    spots: Array
    deck: list[int]
    table: Mask


def wanted_fittings(
    placed: PlacedMachine, hoses_m: Mapping[tuple[str, str], float], *, looks: Sequence[str] = ()
) -> tuple[Wanted, ...]:
    """The wanted fittings ``{(joint, fitting): hose}`` and look points of a placed machine."""
    found = [
        Wanted(f.joint.name, f.fitting.name, f.at_m, hoses_m[f.joint.name, f.fitting.name])
        for f in placed.fittings
        if (f.joint.name, f.fitting.name) in hoses_m
    ]
    found += [
        Wanted(p.look.name, "", p.at_m, look=True) for p in placed.looks if p.look.name in looks
    ]
    return tuple(found)


def unit_stands(
    placed: PlacedMachine,
    wanted: Sequence[Wanted],
    *,
    closed: Sequence[Polygon],
    free: BaseGeometry,
    clearance_m: float,
    reach: Reach,
) -> UnitStands:
    """Stands that between them serve all of ``wanted`` that can be served, the rest with reasons.

    Parameters
    ----------
    placed : PlacedMachine
        The unit in one posture.
    wanted : sequence of Wanted
        Placed in that posture; see `wanted_fittings`.
    closed : sequence of polygons
        Ground that nobody walks because of this unit.
    free : polygon(s)
        Free ground of the whole site that one can walk to, all machines taken out.
    clearance_m : float
        Distance kept from closed ground.
    """
    return skin_stands(Skin(placed, closed, clearance_m), wanted, free=free, reach=reach)


def skin_stands(
    skin: Skin,
    wanted: Sequence[Wanted],
    *,
    free: BaseGeometry,
    reach: Reach,
    fences: BaseGeometry | None = None,
) -> UnitStands:
    """The same as `unit_stands` for a machine that is looked at several times.

    No arm goes through ``fences``. What none of the sampled places serves is looked for on a grid
    as fine as one sets down the feet before it counts as hidden.
    """
    placed = skin.placed
    if not wanted:
        return UnitStands(placed.posture, (), (), ())
    local = around(free, np.asarray([w.at_m for w in wanted]), within_m=LOCAL_M)
    look = _Looking(skin.hulls, tuple(wanted), reach, around_fences(fences, local))
    near = look.fences.wkb if look.fences is not None else b""
    key = look.wanted, reach, local.wkb, near
    return skin.once(key, partial(_found, skin, look, local=local))


def _found(skin: Skin, look: "_Looking", *, local: BaseGeometry) -> UnitStands:
    placed, wanted, reach = skin.placed, look.wanted, look.reach
    decks = deck_points(placed.decks, free=local, climb_m_s=reach.climb_m_s)
    spots = ground_places(placed, wanted, rings=skin.rings, free=local, reach=reach)
    everywhere = look.places(spots, decks)
    finer = look.finer(skin, everywhere, free=local)
    if len(finer):
        spots = np.vstack([spots, finer])
        spots = spots[own_order(placed, spots[:, :2])]
        everywhere = look.places(spots, decks)
    kept = _kept(everywhere, np.asarray([w.at_m for w in wanted]))
    stands = tuple(_stand(everywhere, i, decks=decks, wanted=wanted, reach=reach) for i in kept)
    missed = _missed(wanted, everywhere, Around(spots, skin.hulls, reach, look.fences))
    return UnitStands(placed.posture, tuple(wanted), stands, missed)


def ground_places(
    placed: PlacedMachine,
    wanted: Sequence[Wanted],
    *,
    rings: Array,
    free: BaseGeometry,
    reach: Reach,
) -> Array:
    """Candidate places on free ground near the wanted fittings, (n, 3), sorted in its frame."""
    goals = np.asarray([w.at_m for w in wanted])
    spots = np.vstack([rings, nearest_points(free, goals)])
    far = max(LOOK_M if w.look else reach.arm_m + w.hose_m for w in wanted)
    spots = on_ground(free, close_to(spots, goals, within_m=far + 0.5))
    order = own_order(placed, spots)
    return np.column_stack([spots[order], np.zeros(len(order))])


def own_order(placed: PlacedMachine, spots: Array) -> NDArray[np.int64]:
    """Row numbers in the order of the machine's own frame, however the site lies."""
    heading = np.radians(placed.pose.heading_deg)
    east, north = spots[:, 0] - placed.pose.x_m, spots[:, 1] - placed.pose.y_m
    forward = east * np.sin(heading) + north * np.cos(heading)
    left = north * np.sin(heading) - east * np.cos(heading)
    # People draw in whole fractions: no such fraction may be the limit between two rows.
    rounded = [np.round(at + OFF_GRID_M, 4) for at in (left, forward)]
    return np.asarray(np.lexsort(rounded), dtype=np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class _Looking:
    """Who looks for places, at what, past which solids and fences."""

    hulls: Hulls
    wanted: tuple[Wanted, ...]
    reach: Reach
    fences: BaseGeometry | None

    def places(self, ground: Array, decks: Sequence[DeckPoints]) -> Places:
        """Places on the ground, then those on decks, with what each serves."""
        spots = np.vstack([ground, *(d.places for d in decks)])
        deck = [-1] * len(ground) + [k for k, d in enumerate(decks) for _ in d.places]
        return Places(spots, deck, self._table(spots))

    def _table(self, spots: Array) -> Mask:
        goals = np.asarray([w.at_m for w in self.wanted])
        hose = np.asarray([w.hose_m for w in self.wanted])
        look = np.asarray([w.look for w in self.wanted])
        table = np.zeros((len(spots), len(self.wanted)), dtype=bool)
        touch = serves(spots, goals[~look], hulls=self.hulls, reach=self.reach, hose_m=hose[~look])
        table[:, ~look] = touch & ~through(spots, goals[~look], touch, fences=self.fences)
        table[:, look] = sees(spots, goals[look], hulls=self.hulls, reach=self.reach)
        return table

    def finer(self, skin: Skin, places: Places, *, free: BaseGeometry) -> Array:
        """Places on the ground, (n, 3), for what none of ``places`` serves: from a fine grid."""
        missed = np.flatnonzero(~np.atleast_1d(places.table.any(axis=0)))
        found = [np.zeros((0, 3))]
        for column in missed:
            item = self.wanted[column]
            good = self._on_a_grid(skin, item, free=free)
            if len(good):
                good = good[own_order(skin.placed, good[:, :2])]
                same, far_m = np.ones((len(good), 1), bool), flat_m(good, np.asarray([item.at_m]))
                chosen = keep(good, same, far_m=far_m, most=FINER_STANDS)
                found.append(good[chosen])
        return np.vstack(found)

    def _on_a_grid(self, skin: Skin, item: Wanted, *, free: BaseGeometry) -> Array:
        """Places on the ground, (n, 3), that serve an item: of a fine grid in the machine's frame
        and of the edge of what the machine closes; where none does, of the finest grid."""
        goal, pose = np.asarray([item.at_m]), skin.placed.pose
        far_m = LOOK_M if item.look else self.reach.arm_m + item.hose_m
        fine = fine_grid(pose, goal, within_m=far_m)
        good = self._serving(item, np.vstack([fine, skin.fine_ring]), free, far_m=far_m)
        if len(good):
            return good
        fine = fine[~wholly_hidden(fine, item, hulls=self.hulls, reach=self.reach)]
        return self._serving(item, finest_grid(pose, fine), free, far_m=far_m)

    def _serving(self, item: Wanted, spots: Array, free: BaseGeometry, *, far_m: float) -> Array:
        """Those of (n, 2) places on free ground that serve an item, (k, 3)."""
        spots = on_ground(free, close_to(spots, np.asarray([item.at_m]), within_m=far_m))
        flat = np.column_stack([spots, np.zeros(len(spots))])
        alone = _Looking(self.hulls, (item,), self.reach, self.fences)
        return flat[alone.places(flat, ()).table[:, 0]] if len(flat) else flat


def _kept(places: Places, goals: Array) -> list[int]:
    """Ground first; a deck only for what no place on the ground serves (nobody climbs for less)."""
    on_deck = np.asarray(places.deck, dtype=int) >= 0
    from_ground = np.atleast_1d(places.table[~on_deck].any(axis=0))
    table = places.table & ~(on_deck[:, None] & from_ground[None, :])
    return keep(places.spots, table, far_m=flat_m(places.spots, goals))


def _stand(
    places: Places,
    row: int,
    *,
    decks: Sequence[DeckPoints],
    wanted: Sequence[Wanted],
    reach: Reach,
) -> Stand:
    x, y, height = (float(v) for v in places.spots[row])
    deck = decks[places.deck[row]] if places.deck[row] >= 0 else None
    served = [int(j) for j in np.nonzero(places.table[row])[0]]
    above = np.asarray([wanted[j].at_m[2] - height for j in served])
    bands = band_numbers(above, reach)
    return Stand(
        x_m=x,
        y_m=y,
        height_m=height,
        deck=deck.name if deck else None,
        foot_m=deck.foot_m if deck else (x, y),
        climb_s=deck.climb_s if deck else 0.0,
        serves=tuple(served),
        bands=tuple(
            "look" if wanted[j].look else BANDS[b] for j, b in zip(served, bands, strict=True)
        ),
    )


def _missed(wanted: Sequence[Wanted], places: Places, seen: Around) -> tuple[OutOfReach, ...]:
    served = np.atleast_1d(places.table.any(axis=0))
    return tuple(out_of_reach(w, seen) for w, ok in zip(wanted, served, strict=True) if not ok)
