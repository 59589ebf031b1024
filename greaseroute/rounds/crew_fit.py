"""Numbers that no solver must see are refused here, with the array, the value and the limit."""

from collections.abc import Iterator
from itertools import chain
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from greaseroute.errors import UnfitProblem

if TYPE_CHECKING:
    from greaseroute.rounds.problem import CrewProblem

NO_LIMIT_MS = 2**50  # for end_ms and the end of a window: none is set
SUM_LIMIT = 2**53  # sums stay exact even where a solver counts in float64
MAY_BE_MINUS_ONE = ("travel_ms", "length_mm", "way_ms", "unit_technician")


def faults_of(p: "CrewProblem") -> Iterator[UnfitProblem]:
    """Every fault of the arrays, shapes first, since the other checks rely on them."""
    shape_faults = list(_check_shapes(p))
    if shape_faults:
        return iter(shape_faults)
    checks = (_check_signs, _check_indices, _check_order, _check_sums, _check_keep)
    return chain.from_iterable(check(p) for check in checks)


def _unfit(record: str, value: object, limit: str) -> UnfitProblem:
    return UnfitProblem(
        record, str(value), limit=limit, next_step="mend the arrays handed to the crew solver"
    )


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


def _check_sums(p: "CrewProblem") -> Iterator[UnfitProblem]:
    if int(p.skip_loss.sum(dtype=object)) >= SUM_LIMIT:
        yield _unfit("sum of skip_loss", int(p.skip_loss.sum(dtype=object)), "below 2**53")
    legs = [p.travel_ms, *(phase.travel_ms for phase in p.phases)]
    leg = max((int(a.max()) for a in legs if a.size), default=0)
    at_unit = int(p.way_ms.max()) if p.way_ms.size else 0
    finite = [a[a < NO_LIMIT_MS] for a in (p.window_ms, p.start_ms)]
    latest = max((int(a.max()) for a in finite if a.size), default=0)
    stops = 2 * p.skip_loss.size + 1
    longest = latest + stops * (leg + at_unit + p.reload_ms + p.change_cost_ms)
    if longest >= min(SUM_LIMIT, NO_LIMIT_MS):
        yield _unfit("longest round", f"{longest} ms", "below 2**50 ms; is a number in seconds?")
    length = stops * (int(p.length_mm.max()) if p.length_mm.size else 0)
    if length >= SUM_LIMIT:
        yield _unfit("longest walk", f"{length} mm", "below 2**53 mm")


def _check_keep(p: "CrewProblem") -> Iterator[UnfitProblem]:
    if p.keep is None:
        return
    if len(p.keep) != p.start_point.size:
        yield _unfit("keep", f"{len(p.keep)} sequences", f"one for each of {p.start_point.size}")
    seen = sorted(unit for sequence in p.keep for unit in sequence)
    if len(seen) != len(set(seen)) or (seen and (seen[0] < 0 or seen[-1] >= p.skip_loss.size)):
        yield _unfit("keep", seen, f"units below {p.skip_loss.size}, each once at most")
