"""Numbers that no solver must see are refused, with the array, the value and the limit."""

import numpy as np
import pytest

from greaseroute.errors import UnfitProblem
from greaseroute.solvers.vrp.problem import NO_LIMIT_MS, Phase
from tests.solvers.vrp.crew_cases import ints, line_problem


def refused(text, **fields):
    with pytest.raises(UnfitProblem) as told:
        line_problem([10, 20], work_s=[10, 10], **fields)
    assert str(told.value) == f"{text}; mend the arrays handed to the crew solver"


def test_wrong_shape():
    refused("way_enter: (3,); allowed: (2,)", way_enter=ints([0, 1, 1]))


def test_floats_are_not_times():
    refused("skip_loss: float64; allowed: int64", skip_loss=np.array([1.0, 2.0]))


def test_negative_time():
    refused("start_ms[0]: -5; allowed: at least 0", start_ms=ints([-5]))


def test_minus_one_is_no_path_but_minus_two_is_nothing():
    travel = line_problem([10, 20], work_s=[10, 10]).travel_ms.copy()
    travel[0, 0, 1] = -1
    line_problem([10, 20], work_s=[10, 10], travel_ms=travel)
    travel[0, 0, 1] = -2
    refused("travel_ms[0, 0, 1]: -2; allowed: at least -1", travel_ms=travel)


def test_point_that_is_not_there():
    refused("way_leave[1]: 9; allowed: below 4", way_leave=ints([0, 9]))


def test_window_that_ends_before_it_begins():
    window = ints([[0, NO_LIMIT_MS], [50, 40]])
    refused("window_ms[1]: [50, 40]; allowed: begins before it ends", window_ms=window)


def test_way_that_loses_more_than_skipping():
    refused("way_loss[1]: 101; allowed: at most skip_loss of unit 1", way_loss=ints([0, 101]))


def test_losses_that_do_not_add_up_exactly():
    refused(f"sum of skip_loss: {2**53 + 1}; allowed: below 2**53", skip_loss=ints([2**53, 1]))


def test_times_too_long_to_be_milliseconds():
    refused(
        f"longest round: {5 * (2**48 + 20_000)} ms; allowed: below 2**50 ms; "
        "is a number in seconds?",
        way_ms=ints([[2**48, 1]]),
    )


def test_phases_out_of_order():
    travel = line_problem([10, 20], work_s=[10, 10]).travel_ms
    phases = (Phase(50, travel), Phase(40, travel))
    refused("phases from_ms: [50, 40]; allowed: ascending, each once, from 0", phases=phases)


def test_phase_of_another_shape():
    phases = (Phase(50, np.zeros((1, 2, 2), dtype=np.int64)),)
    refused("phases[0].travel_ms: (1, 2, 2); allowed: (1, 4, 4)", phases=phases)


def test_unit_kept_twice():
    refused("keep: [0, 0]; allowed: units below 2, each once at most", keep=((0, 0),))


def test_cartridge_without_a_stroke():
    refused(
        "cartridge_strokes: 0; allowed: at least 1",
        cartridge_strokes=ints([[0]]),
        way_strokes=ints([[1], [1]]),
    )


def test_bag_fuller_than_full():
    refused("bag_at_start: [100]; allowed: at most [99]", bag_at_start=ints([100]))
