"""The crew's problem in integers and arrays: no machine, no polygon, no clock.

Times are milliseconds from the plan's zero, lengths millimetres, losses whole weights. Shapes:
T technicians, U units, W ways, P points, G gun kinds, S stores.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from greaseroute.errors import UnfitProblem

IntArray = NDArray[np.int64]

NO_PATH = -1  # in travel_ms and length_mm: nobody gets from here to there
CANNOT = -1  # in way_ms: this technician cannot take this way (no gun, no skill)
MAY_BE_MINUS_ONE = ("travel_ms", "length_mm", "way_ms", "unit_technician")
SUM_LIMIT = 2**53  # sums stay exact even where a solver counts in float64
NO_LIMIT_MS = 2**50  # for end_ms and the end of a window: none is set


class Phase(NamedTuple):
    """Walking times that hold from ``from_ms`` on, until the next phase begins.

    ``travel_ms`` (T, P, P) and ``length_mm`` (P, P) are as in the problem; ``length_mm`` None
    means the problem's own. A leg may begin and end in one phase, or last through a change: it
    then takes the longest of the phases it touches (what is open while more is closed is open
    while less is closed), and is impossible if one of them has no path. A technician may also
    stand and wait for the next phase.
    """

    from_ms: int
    travel_ms: IntArray
    length_mm: IntArray | None = None


@dataclass(frozen=True, slots=True, eq=False)
class CrewProblem:
    """Which units, in which way, by whom, in which order: all that decides it, as integers.

    Every technician leaves ``start_point`` at ``start_ms`` and ends at ``finish_point`` not after
    ``end_ms``, also one who visits nothing. A unit is visited once at most, by one of its ways.
    Work at it lies inside its window; one may arrive early and wait.

    Attributes
    ----------
    travel_ms : (T, P, P)
        Walking time per technician, ``NO_PATH`` where there is none. Valid until the first phase.
    length_mm : (P, P)
        Walking length.
    way_unit, way_enter, way_leave : (W,)
        The unit of a way; the points where it is begun and left.
    way_ms : (T, W)
        Time at the unit, isolation and all; ``CANNOT`` where a technician may not.
    way_loss : (W,)
        Weight left undone by this way (0: all that is due is served); ways of one unit may be at
        several service levels.
    way_strokes : (W, G)
        Strokes per gun kind.
    skip_loss : (U,)
        Weight lost if the unit is not visited; not below the loss of any of its ways.
    window_ms : (U, 2)
        Work begins not before the first and ends not after the second (or ``NO_LIMIT_MS``).
    start_point, finish_point, start_ms, end_ms : (T,)
        Where and when each technician starts and must have finished.
    store_points : (S,)
        Points where the bag can be filled again, in ``reload_ms``.
    bag_cartridges : (T,)
        Cartridges in a full bag, of all kinds together; the mix is free.
    cartridge_strokes : (T, G)
        Strokes out of one cartridge, priming taken off. A cartridge that cannot finish the next
        fitting is changed before it, and what is left in it is not used; a fitting that takes more
        than a cartridge holds puts in as many as it needs. See ``fitting_first``.
    phases
        Walking times that change with the hour, ascending ``from_ms``.
    bag_at_start : (T,), optional
        Cartridges in the bag at the start, if it is not full (a round already under way).
    gun_left_strokes : (T, G), optional
        Strokes left in the guns at the start; 0 if not given.
    change_ms : (T, G), optional
        Time to put in one cartridge, spent at the unit that needs it; 0 if not given.
    fitting_first : (W + 1,), optional
        Way w pumps fittings ``fitting_first[w]`` to ``fitting_first[w + 1]`` (not included) of the
        two lists below, in that order; their strokes per gun kind add up to ``way_strokes``. If
        not given, a way's strokes are fittings of one stroke each: after s strokes of a kind,
        ceil((s - gun_left_strokes) / cartridge_strokes) cartridges have been put in.
    fitting_gun, fitting_strokes : (F,), optional
        Gun kind and strokes of each fitting.
    way_window_ms : (W, 2), optional
        A window of one way alone, within the unit's (an operator who is at hand for part of it).
    way_fixed_ms : (T, W), optional
        The part of ``way_ms`` that no route changes (pumping, isolation); the gap is stated over
        the rest. 0 if not given. Its least value over a unit's ways and technicians counts.
    unit_technician : (U,), optional
        The technician a unit is fixed to, -1 where free.
    way_needs_second : (W,) bool, optional
        A second person must be at hand from beginning to end: the work must lie inside the
        unit's ``operator_ms``. Without ``operator_ms`` such a way cannot be taken.
    operator_ms : (U, 2), optional
        When an operator (or anyone else instructed) is at hand at the unit; (0, 0) for never.
    keep : sequences of units per technician, optional
        The plan before the change. Each unit that follows another than it did before (or none),
        counts as one change and costs ``change_cost_ms`` on top of the last finish.
    """

    travel_ms: IntArray
    length_mm: IntArray
    way_unit: IntArray
    way_enter: IntArray
    way_leave: IntArray
    way_ms: IntArray
    way_loss: IntArray
    way_strokes: IntArray
    skip_loss: IntArray
    window_ms: IntArray
    start_point: IntArray
    finish_point: IntArray
    start_ms: IntArray
    end_ms: IntArray
    store_points: IntArray
    bag_cartridges: IntArray
    cartridge_strokes: IntArray
    reload_ms: int = 0
    phases: tuple[Phase, ...] = ()
    gun_left_strokes: IntArray | None = None
    bag_at_start: IntArray | None = None
    change_ms: IntArray | None = None
    fitting_first: IntArray | None = None
    fitting_gun: IntArray | None = None
    fitting_strokes: IntArray | None = None
    way_window_ms: IntArray | None = None
    way_fixed_ms: IntArray | None = None
    unit_technician: IntArray | None = None
    way_needs_second: NDArray[np.bool_] | None = None
    operator_ms: IntArray | None = None
    keep: tuple[tuple[int, ...], ...] | None = None
    change_cost_ms: int = 0

    def __post_init__(self) -> None:
        """Refuse numbers that no solver must see; raises UnfitProblem with the first of them."""
        for fault in faults_of(self):
            raise fault

    @property
    def technicians(self) -> int:
        """Number of technicians T."""
        return int(self.start_point.shape[0])

    @property
    def units(self) -> int:
        """Number of units U."""
        return int(self.skip_loss.shape[0])

    @property
    def ways(self) -> int:
        """Number of ways W."""
        return int(self.way_unit.shape[0])


def faults_of(p: "CrewProblem") -> Iterator[UnfitProblem]:
    """Every fault of the arrays, shapes first, since the other checks rely on them."""
    shape_faults = list(_check_shapes(p))
    if shape_faults:
        return iter(shape_faults)
    checks = (
        _check_signs,
        _check_indices,
        _check_order,
        _check_fittings,
        _check_sums,
        _check_keep,
    )
    return chain.from_iterable(check(p) for check in checks)


def _unfit(record: str, value: object, limit: str) -> UnfitProblem:
    return UnfitProblem(
        record, str(value), limit=limit, next_step="mend the arrays handed to the crew solver"
    )


# Long: a table with one row for each array.
def _shapes(p: "CrewProblem") -> dict[str, tuple[NDArray[np.int64] | None, tuple[int, ...]]]:
    n_tech, n_ways, n_units = p.start_point.size, p.way_unit.size, p.skip_loss.size
    points, guns = p.length_mm.shape[0], p.way_strokes.shape[-1]
    return (
        {
            "travel_ms": (p.travel_ms, (n_tech, points, points)),
            "length_mm": (p.length_mm, (points, points)),
            "way_unit": (p.way_unit, (n_ways,)),
            "way_enter": (p.way_enter, (n_ways,)),
            "way_leave": (p.way_leave, (n_ways,)),
            "way_ms": (p.way_ms, (n_tech, n_ways)),
            "way_loss": (p.way_loss, (n_ways,)),
            "way_strokes": (p.way_strokes, (n_ways, guns)),
            "skip_loss": (p.skip_loss, (n_units,)),
            "window_ms": (p.window_ms, (n_units, 2)),
            "start_point": (p.start_point, (n_tech,)),
            "finish_point": (p.finish_point, (n_tech,)),
            "start_ms": (p.start_ms, (n_tech,)),
            "end_ms": (p.end_ms, (n_tech,)),
            "store_points": (p.store_points, (p.store_points.size,)),
            "bag_cartridges": (p.bag_cartridges, (n_tech,)),
            "cartridge_strokes": (p.cartridge_strokes, (n_tech, guns)),
            "bag_at_start": (p.bag_at_start, (n_tech,)),
            "gun_left_strokes": (p.gun_left_strokes, (n_tech, guns)),
            "change_ms": (p.change_ms, (n_tech, guns)),
            "fitting_first": (p.fitting_first, (n_ways + 1,)),
            "fitting_gun": (p.fitting_gun, _shape(p.fitting_strokes)),
            "fitting_strokes": (p.fitting_strokes, _shape(p.fitting_gun)),
            "way_window_ms": (p.way_window_ms, (n_ways, 2)),
            "way_fixed_ms": (p.way_fixed_ms, (n_tech, n_ways)),
            "unit_technician": (p.unit_technician, (n_units,)),
            "operator_ms": (p.operator_ms, (n_units, 2)),
        }
        | {
            f"phases[{k}].travel_ms": (f.travel_ms, (n_tech, points, points))
            for k, f in enumerate(p.phases)
        }
        | {
            f"phases[{k}].length_mm": (f.length_mm, (points, points))
            for k, f in enumerate(p.phases)
        }
    )


def _shape(array: IntArray | None) -> tuple[int, ...]:
    return (0,) if array is None else (array.size,)


def _check_shapes(p: "CrewProblem") -> Iterator[UnfitProblem]:
    for name, (array, shape) in _shapes(p).items():
        if array is None:
            continue
        if array.dtype != np.int64:
            yield _unfit(name, array.dtype, "int64")
        elif array.shape != shape:
            yield _unfit(name, array.shape, str(shape))
    if p.start_point.size == 0:
        yield _unfit("start_point", "no technician", "at least one")
    second = p.way_needs_second
    if second is not None and (second.dtype != np.bool_ or second.shape != p.way_unit.shape):
        yield _unfit("way_needs_second", (second.dtype, second.shape), f"bool {p.way_unit.shape}")


def _check_signs(p: "CrewProblem") -> Iterator[UnfitProblem]:
    for name, (array, _) in _shapes(p).items():
        least = -1 if name.split(".")[-1] in MAY_BE_MINUS_ONE else 0
        if array is not None and array.size and int(array.min()) < least:
            where = tuple(int(i) for i in np.unravel_index(int(array.argmin()), array.shape))
            yield _unfit(f"{name}{list(where)}", int(array.min()), f"at least {least}")
    if p.reload_ms < 0 or p.change_cost_ms < 0:
        yield _unfit("reload_ms, change_cost_ms", (p.reload_ms, p.change_cost_ms), "at least 0")
    if p.bag_at_start is not None and bool((p.bag_at_start > p.bag_cartridges).any()):
        yield _unfit("bag_at_start", p.bag_at_start.tolist(), f"at most {p.bag_cartridges}")
    if p.cartridge_strokes.size and int(p.cartridge_strokes.min()) < 1:
        yield _unfit("cartridge_strokes", int(p.cartridge_strokes.min()), "at least 1")


def _check_indices(p: "CrewProblem") -> Iterator[UnfitProblem]:
    points, units = p.length_mm.shape[0], p.skip_loss.size
    ranges = {
        "way_unit": (p.way_unit, units),
        "way_enter": (p.way_enter, points),
        "way_leave": (p.way_leave, points),
        "start_point": (p.start_point, points),
        "finish_point": (p.finish_point, points),
        "store_points": (p.store_points, points),
    }
    if p.unit_technician is not None:
        ranges["unit_technician"] = (p.unit_technician, p.start_point.size)
    for name, (array, end) in ranges.items():
        if array.size and int(array.max()) >= end:
            yield _unfit(f"{name}[{int(array.argmax())}]", int(array.max()), f"below {end}")


def _check_order(p: "CrewProblem") -> Iterator[UnfitProblem]:
    for name, window in (("window_ms", p.window_ms), ("way_window_ms", p.way_window_ms)):
        if window is not None and bool((window[:, 0] > window[:, 1]).any()):
            row = int((window[:, 0] > window[:, 1]).argmax())
            yield _unfit(f"{name}[{row}]", window[row].tolist(), "begins before it ends")
    starts = [phase.from_ms for phase in p.phases]
    if starts != sorted(set(starts)) or (starts and starts[0] < 0):
        yield _unfit("phases from_ms", starts, "ascending, each once, from 0")
    over = p.way_loss > p.skip_loss[p.way_unit]
    if bool(over.any()):
        way = int(over.argmax())
        yield _unfit(
            f"way_loss[{way}]", int(p.way_loss[way]), f"at most skip_loss of unit {p.way_unit[way]}"
        )


def _check_fittings(p: "CrewProblem") -> Iterator[UnfitProblem]:
    given = (p.fitting_first, p.fitting_gun, p.fitting_strokes)
    first, gun, strokes = given
    if first is None or gun is None or strokes is None:
        if any(array is not None for array in given):
            yield _unfit("fitting_first, fitting_gun, fitting_strokes", "some", "all or none")
        return
    if first[0] != 0 or first[-1] != gun.size or bool((np.diff(first) < 0).any()):
        yield _unfit("fitting_first", first.tolist(), f"ascending from 0 to {gun.size}")
        return
    if gun.size and int(gun.max()) >= p.way_strokes.shape[1]:
        yield _unfit("fitting_gun", int(gun.max()), f"below {p.way_strokes.shape[1]}")
        return
    total = np.zeros_like(p.way_strokes)
    np.add.at(total, (np.repeat(np.arange(p.ways), np.diff(first)), gun), strokes)
    if bool((total != p.way_strokes).any()):
        way = int((total != p.way_strokes).any(axis=1).argmax())
        yield _unfit(
            f"strokes of the fittings of way {way}",
            total[way].tolist(),
            f"way_strokes {p.way_strokes[way].tolist()}",
        )


def _check_sums(p: "CrewProblem") -> Iterator[UnfitProblem]:
    if int(p.skip_loss.sum(dtype=object)) >= SUM_LIMIT:
        yield _unfit("sum of skip_loss", int(p.skip_loss.sum(dtype=object)), "below 2**53")
    legs = [p.travel_ms, *(phase.travel_ms for phase in p.phases)]
    leg = max((int(a.max()) for a in legs if a.size), default=0)
    at_unit = int(p.way_ms.max()) if p.way_ms.size else 0
    finite = [a[a < NO_LIMIT_MS] for a in (p.window_ms, p.start_ms)]
    latest = max((int(a.max()) for a in finite if a.size), default=0)
    stops = 2 * p.skip_loss.size + 1
    changing = _most_changing_ms(p)
    longest = latest + stops * (leg + at_unit + p.reload_ms + p.change_cost_ms) + changing
    if longest >= min(SUM_LIMIT, NO_LIMIT_MS):
        yield _unfit("longest round", f"{longest} ms", "below 2**50 ms; is a number in seconds?")
    length = stops * (int(p.length_mm.max()) if p.length_mm.size else 0)
    if length >= SUM_LIMIT:
        yield _unfit("longest walk", f"{length} mm", "below 2**53 mm")


def _most_changing_ms(p: "CrewProblem") -> int:
    """A cartridge for each stroke of every way: more are never put in."""
    if p.change_ms is None or not p.change_ms.size:
        return 0
    return int(p.change_ms.max()) * int(p.way_strokes.sum(dtype=object))


def _check_keep(p: "CrewProblem") -> Iterator[UnfitProblem]:
    if p.keep is None:
        return
    if len(p.keep) != p.start_point.size:
        yield _unfit("keep", f"{len(p.keep)} sequences", f"one for each of {p.start_point.size}")
    seen = sorted(unit for sequence in p.keep for unit in sequence)
    if len(seen) != len(set(seen)) or (seen and (seen[0] < 0 or seen[-1] >= p.skip_loss.size)):
        yield _unfit("keep", seen, f"units below {p.skip_loss.size}, each once at most")
