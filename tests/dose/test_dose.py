"""Quantities, strokes, calibration and cartridges; each expected figure is derived beside it."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from greaseroute.catalogue.joint import Dose
from greaseroute.dose.calibration import calibrate
from greaseroute.dose.cartridges import cartridge_strokes, walk_cartridges
from greaseroute.dose.quantity import dose_cm3
from greaseroute.dose.strokes import fitting_strokes, stroke_cm3, strokes
from greaseroute.errors import UnfitProblem, UnknownName
from greaseroute.site.crew import Grease, Gun

LITHIUM = Grease(name="EP2", nlgi="2", thickener="lithium")
LEVER = Gun(name="lever", grease="EP2", stroke_cm3=1.4)


def test_the_least_of_a_range_in_cm3_is_taken():
    assert dose_cm3(Dose(cm3=(4.0, 6.0)), density_g_cm3=0.9) == 4.0


def test_strokes_of_a_reference_gun_become_cm3():
    # 3 strokes of 1.2 cm3
    assert dose_cm3(Dose(strokes=(3, 4), stroke_cm3=1.2), density_g_cm3=0.9) == pytest.approx(3.6)


def test_the_handbook_mass_of_a_pin_becomes_cm3_by_density():
    # 0.005 x 80 x 100 = 40 g; 40 / 0.8 = 50 cm3
    dose = Dose(pin_diameter_mm=80, pin_length_mm=100)
    assert dose_cm3(dose, density_g_cm3=0.8) == pytest.approx(50.0)


def test_strokes_round_up_for_each_fitting():
    # 4.0 / 1.4 = 2.857 -> 3; four such fittings are 12 strokes, the total rounded once would be 12
    # (11.43); with 4.3 / 1.4 = 3.07 -> 4 each they are 16 against 13 on the total
    assert strokes(4.0, stroke_cm3=1.4) == 3
    assert 4 * strokes(4.3, stroke_cm3=1.4) == 16


def test_a_whole_number_of_strokes_stays_whole():
    # 0.1 + 0.2 is a hair above 0.3 in binary
    assert strokes(0.1 + 0.2, stroke_cm3=0.1) == 3


def test_a_dose_below_one_stroke_takes_one():
    assert strokes(0.01, stroke_cm3=1.4) == 1
    assert strokes(1e-12, stroke_cm3=1.4) == 1


def test_a_gun_given_by_ten_weighed_strokes():
    # 12.6 g / 10 / 0.90 = 1.4 cm3
    gun = Gun(name="g", grease="EP2", ten_strokes_g=12.6)
    assert stroke_cm3(gun, LITHIUM) == pytest.approx(1.4)
    assert fitting_strokes(Dose(cm3=(4.0, 6.0)), gun, LITHIUM) == 3


def test_calibration_from_ten_strokes():
    # 12.8 g / 10 = 1.28 g; / 0.8 = 1.6 cm3
    found = calibrate(12.8, density_g_cm3=0.8)
    assert (found.stroke_g, found.stroke_cm3, found.warning) == (
        pytest.approx(1.28),
        pytest.approx(1.6),
        "",
    )


def test_calibration_from_other_counts_of_strokes():
    # 6.5 g over 5 strokes: 1.3 g each, 1.3 / 0.9 cm3
    found = calibrate(6.5, density_g_cm3=0.9, strokes_weighed=5)
    assert (found.stroke_g, found.strokes_weighed) == (pytest.approx(1.3), 5)
    assert found.stroke_cm3 == pytest.approx(1.3 / 0.9)


def test_a_strange_calibration_warns():
    assert calibrate(2.0, density_g_cm3=0.9).warning == (
        "0.20 g for a stroke is outside 0.5 to 3 g: weigh again, and look for air in the gun"
    )


def test_nothing_weighed_is_refused():
    with pytest.raises(UnfitProblem, match=r"10 strokes weighing 0 g.*pump ten full strokes"):
        calibrate(0.0, density_g_cm3=0.9)
    with pytest.raises(UnfitProblem, match="0 strokes weighing 1 g"):
        calibrate(1.0, density_g_cm3=0.9, strokes_weighed=0)


def test_strokes_in_a_cartridge():
    # 400 x 0.95 / 0.9 = 422.22 cm3; / 1.4 = 301.6 -> 301; less 3 for priming = 298
    assert cartridge_strokes(LEVER, LITHIUM) == 298


def test_priming_that_eats_the_cartridge_is_refused():
    gun = Gun(name="lever", grease="EP2", stroke_cm3=50, priming_strokes=9)
    # 422.2 / 50 = 8 strokes, 9 for priming
    with pytest.raises(UnfitProblem, match="8 strokes in a cartridge, 9 of them for priming"):
        cartridge_strokes(gun, LITHIUM)
    with pytest.raises(UnfitProblem, match="8 strokes in a cartridge, 8 of them for priming"):
        cartridge_strokes(gun.model_copy(update={"priming_strokes": 8}), LITHIUM)


def _walk(tasks, *, left=0, stroke=42.2):
    # 422.22 / 42.2 = 10.005 -> 10 strokes a cartridge with no priming
    gun = Gun(name="g", grease="EP2", stroke_cm3=stroke, priming_strokes=0, left_strokes=left)
    return walk_cartridges([(n, "g") for n in tasks], guns=[gun], greases=[LITHIUM])


def test_an_empty_gun_gets_a_cartridge_before_its_first_fitting():
    run = _walk([4])
    assert run.put_in == (1,)
    assert run.left_strokes == {"g": 6}


def test_a_part_full_gun_pumps_on():
    assert _walk([4], left=4).put_in == (0,)


def test_a_cartridge_that_cannot_finish_the_next_fitting_is_changed_before_it():
    # 10 - 4 - 4 = 2 left, 4 wanted: change, the 2 are not used; 10 - 4 = 6 left
    run = _walk([4, 4, 4])
    assert run.put_in == (1, 0, 1)
    assert run.left_strokes == {"g": 6}


def test_one_fitting_may_take_several_cartridges():
    # 25 strokes of 10: 3 cartridges, 5 left
    run = _walk([25])
    assert run.put_in == (3,)
    assert run.left_strokes == {"g": 5}


def test_counts_of_a_grease():
    # used 2, reserve 1; 12 strokes x 42.2 cm3 x 0.9 g/cm3 = 455.76 g
    count = _walk([4, 4, 4]).counts["EP2"]
    assert (count.carry, count.used, count.reserve, count.strokes) == (3, 2, 1, 12)
    assert count.grams == pytest.approx(455.76)


def test_two_greases_are_counted_apart():
    moly = Grease(name="M2", nlgi="2", thickener="lithium", reserve_cartridges=0)
    guns = [LEVER, Gun(name="m", grease="M2", stroke_cm3=1.4)]
    run = walk_cartridges(
        [(3, "lever"), (3, "m"), (3, "lever")], guns=guns, greases=[LITHIUM, moly]
    )
    assert run.put_in == (1, 1, 0)
    assert {n: (c.carry, c.strokes) for n, c in run.counts.items()} == {"EP2": (2, 6), "M2": (1, 3)}


def test_an_unknown_gun_is_named():
    with pytest.raises(UnknownName, match=r"cartridges: pistol; allowed: lever; check site.toml"):
        walk_cartridges([(3, "pistol")], guns=[LEVER], greases=[LITHIUM])


@settings(max_examples=200, derandomize=True, deadline=None)
@given(
    tasks=st.lists(st.integers(1, 35), min_size=1, max_size=40),
    left=st.integers(0, 10),
)
def test_the_walk_agrees_with_pumping_stroke_by_stroke(tasks, left):
    """An own stroke-by-stroke count: every cartridge opened is one of those put in."""
    run = _walk(tasks, left=left)
    level, opened = left, 0
    for wanted in tasks:
        if level < wanted:
            level = 0
        for _ in range(wanted):
            if level == 0:
                opened, level = opened + 1, 10
            level -= 1
    assert opened == sum(run.put_in) == run.counts["EP2"].used
    assert level == run.left_strokes["g"]


def test_the_strokes_of_a_handbook_dose_follow_the_density():
    # 0.005 x 80 x 100 = 40 g; / 0.8 = 50 cm3; / 1.4 = 35.7 -> 36; at 1.0: 40 / 1.4 = 28.6 -> 29
    dose = Dose(pin_diameter_mm=80, pin_length_mm=100)
    light, heavy = (LITHIUM.model_copy(update={"density_g_cm3": d}) for d in (0.8, 1.0))
    assert fitting_strokes(dose, LEVER, light) == 36
    assert fitting_strokes(dose, LEVER, heavy) == 29


@pytest.mark.parametrize(("ten_g", "warns"), [(4.9, True), (5, False), (30, False), (30.1, True)])
def test_the_ends_of_the_usual_stroke_do_not_warn(ten_g, warns):
    # usual are 0.5 to 3 g a stroke
    assert bool(calibrate(ten_g, density_g_cm3=0.9).warning) == warns


def test_one_stroke_of_less_than_a_gram_can_be_weighed():
    found = calibrate(0.9, density_g_cm3=0.9, strokes_weighed=1)
    assert (found.stroke_g, found.stroke_cm3) == (pytest.approx(0.9), pytest.approx(1.0))


def test_nothing_weighed_says_what_is_allowed_and_what_to_do():
    with pytest.raises(UnfitProblem) as found:
        calibrate(0.0, density_g_cm3=0.9)
    assert str(found.value) == (
        "gun calibration: 10 strokes weighing 0 g; allowed: one stroke or more, weighing more "
        "than 0 g; pump ten full strokes on paper and weigh them"
    )


def test_a_cartridge_of_a_whole_number_of_strokes_keeps_the_last_one():
    # 1 g at 1 g/cm3, usable share 0.3: 0.3 / 0.1 is 2.9999999999999996 in binary, three strokes
    thin = LITHIUM.model_copy(update={"density_g_cm3": 1.0, "usable_share": 0.3, "cartridge_g": 1})
    gun = Gun(name="g", grease="EP2", stroke_cm3=0.1, priming_strokes=0)
    assert cartridge_strokes(gun, thin) == 3


def test_priming_that_eats_the_cartridge_says_what_to_check():
    gun = Gun(name="lever", grease="EP2", stroke_cm3=50, priming_strokes=9)
    with pytest.raises(UnfitProblem) as found:
        cartridge_strokes(gun, LITHIUM)
    assert str(found.value) == (
        "gun lever: 8 strokes in a cartridge, 9 of them for priming; allowed: more strokes than "
        "priming takes; check stroke_cm3, cartridge_g and priming_strokes in site.toml"
    )


def test_an_unknown_gun_is_told_all_that_are_known():
    guns = [LEVER, Gun(name="air", grease="EP2", stroke_cm3=1.4)]
    with pytest.raises(UnknownName, match=r"allowed: air, lever; check"):
        walk_cartridges([(3, "pistol")], guns=guns, greases=[LITHIUM])
