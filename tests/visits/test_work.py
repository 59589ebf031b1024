from dataclasses import replace
from itertools import pairwise

import pytest

from greaseroute.errors import UnknownName
from greaseroute.site.crew import Gun
from greaseroute.visits.work import due_items, outfit_of, unit_works, weight_of
from tests.rounds.yards import AT, GREASES, GUNS, technician, unit, yard


def a_site(**changes):
    return yard([unit(0, "wheel-loader-20t", 30, 30), unit(1, "grader-18t", 70, 30)], **changes)


def works_of(site, items):
    return unit_works(site, items, outfit=outfit_of(site.technicians[0], site))


def test_joints_never_recorded_are_due_and_never_pumped_or_central_ones_are_no_work():
    site = a_site()
    works = works_of(site, due_items(site, AT))
    assert [w.unit.unit for w in works] == ["U-0", "U-1"]
    loader = site.types["wheel-loader-20t"]
    pumped = [j.name for j in loader.joints if j.by_hand and j.within_reach]
    assert [j.joint.name for j in works[0].joints] == pumped


def test_the_caller_says_what_is_to_be_done_and_a_wrong_name_is_refused():
    site = a_site()
    joint = site.types["grader-18t"].joints[0].name
    (work,) = works_of(site, due_items(site, AT, work=[("U-1", joint)]))
    assert [j.joint.name for j in work.joints] == [joint]
    with pytest.raises(UnknownName, match="U-9 boom root"):
        due_items(site, AT, work=[("U-9", "boom root")])


def test_strokes_are_rounded_up_for_each_fitting_and_take_their_time():
    site = a_site()
    work = works_of(site, due_items(site, AT))[0]
    for joint in work.joints:
        for fitting in joint.fittings:
            # gun of 1.4 cm3 a stroke, 1.5 s a stroke, 8 s to couple
            assert fitting.strokes == -(-fitting.dose_cm3 // 1.4)
            assert fitting.pump_s == 8.0 + 1.5 * fitting.strokes
            assert fitting.gun == ("second" if joint.joint.grease.prefers_moly else "lever")


def test_a_joint_without_a_gun_for_its_grease_is_told_apart_with_the_reason():
    stiff = tuple(g.model_copy(update={"nlgi": "3"}) for g in GREASES)
    site = a_site(greases=stiff)
    work = works_of(site, due_items(site, AT))[0]
    assert work.joints == ()
    loader = site.types["wheel-loader-20t"]
    assert len(work.cannot) == sum(j.by_hand and bool(j.within_reach) for j in loader.joints)
    assert all("wants NLGI 1 or 2, this is 3" in c.reason for c in work.cannot)


def test_a_flush_head_without_its_coupler_is_no_work():
    plain = tuple(Gun(**{**g.model_dump(), "couplers": ("conical",)}) for g in GUNS)
    site = a_site(guns=plain)
    works = works_of(site, due_items(site, AT))
    heads = {f.head for w in works for j in w.joints for f in j.joint.fittings}
    assert heads == {"conical"}
    assert any("no coupler" in c.reason for w in works for c in w.cannot)


def test_one_joint_that_asks_for_a_skill_is_no_work_for_who_lacks_it():
    site = a_site()
    loader = site.types["wheel-loader-20t"]
    due = next(j for j in loader.joints if not (j.central or j.never_pump))
    joints = tuple(
        j.model_copy(update={"skill": "high work"} if j is due else {}) for j in loader.joints
    )
    types = {**site.types, "wheel-loader-20t": loader.model_copy(update={"joints": joints})}
    asking = replace(site, types=types)
    lacking = works_of(asking, due_items(asking, AT))[0]
    assert [(c.item.joint, c.reason) for c in lacking.cannot] == [
        (due.name, "asks for the skill 'high work'")
    ]
    able = outfit_of(technician(skills=("high work",)), asking)
    assert unit_works(asking, due_items(asking, AT), outfit=able)[0].cannot == ()
    # what cannot be done still weighs: it is lost wherever this outfit goes alone
    assert lacking.weight == works_of(site, due_items(site, AT))[0].weight


def test_weight_is_critical_times_used_share_of_the_interval():
    site = a_site()
    item = due_items(site, AT)[0]
    assert weight_of(item.model_copy(update={"critical": 3, "overdue_ratio": 1.5})) == 450
    assert (
        weight_of(item.model_copy(update={"critical": 1, "overdue_ratio": 99.0})) == 2000
    )  # capped
    assert weight_of(item.model_copy(update={"critical": 1, "overdue_ratio": 0.0})) == 1


def test_levels_keep_the_weightiest_joints():
    site = a_site()
    work = works_of(site, due_items(site, AT))[0]
    levels = work.levels()
    assert len(levels[0]) == len(work.joints)
    assert len(levels[-1]) == 1
    assert levels[-1][0].weight == max(j.weight for j in work.joints)
    assert all(len(a) > len(b) for a, b in pairwise(levels))


def test_single_fittings_can_be_left_alone():
    site = a_site()
    outfit = outfit_of(site.technicians[0], site)
    items = due_items(site, AT)
    whole = unit_works(site, items, outfit=outfit)[0]
    joint = whole.joints[0]
    gone = frozenset((whole.unit.unit, *f.key) for f in joint.fittings)
    less = unit_works(site, items, outfit=outfit, without=gone)[0]
    assert [j.joint.name for j in less.joints] == [j.joint.name for j in whole.joints[1:]]


def test_what_takes_a_pit_is_told_and_never_planned():
    site = a_site()
    work = works_of(site, due_items(site, AT))[0]
    told = {(c.item.joint, c.fitting): c.helps for c in work.takes_more}
    # Both crosses of the rear shaft and its spline lie under the machine.
    assert told["rear drive shaft universal joints", None] == "a pit"
    assert told["rear drive shaft sliding spline", None] == "a pit"
    planned = {f.key for joint in work.joints for f in joint.fittings}
    loader = site.types["wheel-loader-20t"]
    far = {(j.name, f.name) for j in loader.joints for f in j.fittings if f.takes}
    assert not planned & far
    assert len(far) == sum(
        len(loader.joint(joint).fittings) if fitting is None else 1 for joint, fitting in told
    )
