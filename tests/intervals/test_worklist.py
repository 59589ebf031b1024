"""What is owed and why; the sentences are asserted as a technician reads them."""

from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from greaseroute.catalogue.joint import Dose, Fitting, Interval, Joint, LookPoint
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.errors import UnknownName
from greaseroute.intervals.interval import shortened
from greaseroute.intervals.worklist import carried_note, checks_due, work_list
from greaseroute.site.crew import Severity, WorkingRules
from greaseroute.site.fleet import LastService, MeterReading, Unit
from greaseroute.site.model import Site
from greaseroute.site.past import CheckSeen, Past, Trouble

ZONE = ZoneInfo("Europe/Berlin")
MONDAY = datetime(2031, 3, 10, 5, 30, tzinfo=ZONE)


def _joint(name="arm pin", hours=None, days=None, fittings=("one",), **more):
    shift = more.pop("every_shift", False)
    return Joint(
        name=name,
        links=("boom", "arm"),
        fittings=tuple(Fitting(name=n, link="arm", position_m=(0, 0, 1)) for n in fittings),
        dose=Dose(cm3=(3, 4)),
        interval=Interval(hours=hours, days=days, every_shift=shift),
        **more,
    )


def _site(
    joints, *, meter_h=1052.0, severity=None, look_ahead_h=0.0, services=(), readings=(),
    planned_for=None, hours_per_day=8.0,
):  # fmt: skip
    machine = MachineType.model_construct(name="digger", joints=tuple(joints), attachments=())
    unit = Unit(
        unit="EX-1", type="digger", x_m=0, y_m=0, heading_deg=0, meter_h=meter_h, severity=severity,
        hours_per_day=hours_per_day,
    )  # fmt: skip
    return Site(
        name="yard",
        time_zone="Europe/Berlin",
        coordinates="local metres",
        shift_start="06:30",
        round_start="05:30",
        rules=WorkingRules(look_ahead_h=look_ahead_h),
        greases=(),
        guns=(),
        technicians=(),
        severities=(Severity(name="wet", interval_factor=0.5),),
        ground=None,
        units=(unit,),
        types={"digger": machine},
        last_services=tuple(services),
        meter_readings=tuple(readings),
        planned_for=planned_for,
    )


def _done(meter_h, *, joint="arm pin", day=5, hour=5):
    at = datetime(2031, 3, day, hour, 47)
    return LastService(unit="EX-1", joint=joint, at=at, meter_h=meter_h)


def _only(site, at=MONDAY, **more):
    (item,) = work_list(site, at, **more)
    return item


def test_over_in_hours():
    # 1052 - 1000 = 52 of 50
    item = _only(_site([_joint(hours=50)], services=[_done(1000)]))
    assert item.reason == "52 h since last greasing, every 50 h: 2 h over"
    assert (item.status, item.due, item.overdue_h, item.left_h) == ("due", True, 2.0, -2.0)
    assert item.overdue_ratio == pytest.approx(1.04)
    assert item.since_days == 5.0


def test_exactly_used_up_is_due():
    item = _only(_site([_joint(hours=50)], services=[_done(1002)]))
    assert item.reason == "50 h since last greasing, every 50 h: due now"
    assert item.due


def test_not_due_says_what_is_left():
    item = _only(_site([_joint(hours=50)], services=[_done(1010)]))
    assert item.reason == "42 h since last greasing, every 50 h: 8 h left"
    assert (item.due, item.left_h) == (False, 8.0)


def test_never_recorded_is_due():
    item = _only(_site([_joint(hours=50)]))
    assert (item.due, item.reason, item.overdue_ratio) == (True, "never recorded", 7 * 8 / 50)


def test_never_recorded_weighs_a_week_of_whichever_limit_is_used_most():
    """A week is 7 of 30 days and 56 of 250 h: 0.233 and 0.224 of the interval."""
    by_days = _only(_site([_joint(days=30)]))
    both = _only(_site([_joint(hours=250, days=30)]))
    assert by_days.overdue_ratio == both.overdue_ratio == pytest.approx(7 / 30)


def test_look_ahead_alone_makes_it_due():
    joints, services = [_joint(hours=50)], [_done(1005)]
    assert not _only(_site(joints, services=services)).due
    item = _only(_site(joints, services=services, look_ahead_h=9))
    # 47 used, 3 left, 9 h of work before the next round
    assert (item.status, item.due) == ("ahead", True)
    assert item.reason == "falls due in 3 h, before the next round"


@pytest.mark.parametrize(("look_ahead_h", "status"), [(8, "ahead"), (7.5, "not due")])
def test_hours_that_are_used_up_just_at_the_next_round_are_due_before_it(look_ahead_h, status):
    """42 of 50 h used and 8 h of work before the next round; half an hour less is in time."""
    site = _site([_joint(hours=50)], services=[_done(1010)], look_ahead_h=look_ahead_h)
    assert _only(site).status == status


def test_severity_alone_makes_it_due():
    item = _only(_site([_joint(hours=50)], services=[_done(1025)], severity="wet"))
    assert item.reason == "27 h since last greasing, every 25 h (shortened for wet): 2 h over"
    assert item.interval == "25 h (50 h, shortened for wet)"
    assert item.interval_h == 25.0


def test_an_unknown_severity_is_named():
    with pytest.raises(UnknownName, match="unit EX-1: severity 'dry'; allowed: wet"):
        work_list(_site([_joint(hours=50)], severity="dry"), MONDAY)


def test_days_come_first_where_hours_have_not_run():
    item = _only(_site([_joint(hours=250, days=5)], services=[_done(1050)]))
    assert item.reason == "5 days since last greasing, every 5 days: due now"


def test_hours_come_first_where_days_have_not_passed():
    item = _only(_site([_joint(hours=50, days=30)], services=[_done(1000)]))
    assert item.reason == "52 h since last greasing, every 50 h: 2 h over"


def test_days_are_counted_by_the_calendar():
    # greased at 05:47 five mornings ago, planned for 05:30: 4.99 days of 24 h, 5 by the calendar
    assert _only(_site([_joint(days=5)], services=[_done(1000)])).due
    assert not _only(_site([_joint(days=6)], services=[_done(1000)])).due


def test_days_to_the_next_round_count():
    site = _site([_joint(days=7)], services=[_done(1000)], look_ahead_h=8)
    # due on the 12th; the next round on the 11th comes before it, one on the 13th would be late
    assert not _only(site).due
    item = _only(site, next_round=datetime(2031, 3, 13, 5, 30, tzinfo=ZONE))
    assert item.reason == "falls due in 2 days, before the next round"
    on_the_day = _only(site, next_round=datetime(2031, 3, 12, 5, 30, tzinfo=ZONE))
    assert on_the_day.status == "not due"


def test_every_shift_is_not_ten_hours():
    """Greased yesterday morning, 4 h worked since: owed daily, not owed at 10 h."""
    services = [_done(1048, day=9), _done(1048, joint="arm tip", day=9)]
    site = _site([_joint(every_shift=True), _joint("arm tip", hours=10)], services=services)
    daily, ten = work_list(site, MONDAY)
    assert (daily.due, daily.reason) == (True, "every shift")
    assert (ten.due, ten.reason) == (False, "4 h since last greasing, every 10 h: 6 h left")


def test_one_day_is_not_ten_hours_either():
    services = [_done(1052, day=9)]
    assert _only(_site([_joint(days=1)], services=services)).due
    assert not _only(_site([_joint(hours=10)], services=services)).due


def test_a_second_round_the_same_day_owes_no_every_shift():
    item = _only(_site([_joint(every_shift=True)], services=[_done(1052, day=10, hour=4)]))
    assert (item.due, item.reason) == (False, "every shift: done today already")


def test_a_meter_that_ran_back_is_due():
    item = _only(_site([_joint(hours=50)], meter_h=12, services=[_done(4182)]))
    assert item.reason == "meter ran back from 4182 h to 12 h: treated as due"
    assert (item.due, item.since_h) == (True, None)


def test_a_replaced_meter_that_has_passed_the_old_figure_is_seen_in_the_readings():
    readings = [
        MeterReading(unit="EX-1", at=datetime(2031, 3, 6, 6), meter_h=110),
        MeterReading(unit="EX-1", at=datetime(2031, 3, 7, 6), meter_h=0),
    ]
    joints, services = [_joint(hours=500)], [_done(100)]
    without = _only(_site(joints, meter_h=150, services=services))
    assert without.since_h == 50.0
    item = _only(_site(joints, meter_h=150, services=services, readings=readings))
    assert item.reason == "meter ran back from 110 h to 0 h: treated as due"


def test_a_fall_before_the_service_does_not_matter():
    readings = [
        MeterReading(unit="EX-1", at=datetime(2031, 3, 1, 6), meter_h=9000),
        MeterReading(unit="EX-1", at=datetime(2031, 3, 2, 6), meter_h=0),
    ]
    item = _only(_site([_joint(hours=500)], meter_h=150, services=[_done(100)], readings=readings))
    assert item.since_h == 50.0


def test_a_meter_that_ran_back_leaves_days_alone():
    item = _only(_site([_joint(days=30)], meter_h=12, services=[_done(4182)]))
    assert not item.due


def test_a_service_of_the_interval_class_counts():
    item = _only(_site([_joint(hours=50)], services=[_done(1040, joint="50 h")]))
    assert item.since_h == 12.0


def test_the_class_in_hours_covers_a_joint_with_days_too():
    site = _site([_joint(hours=50, days=30)], services=[_done(1040, joint="50 H")])
    assert _only(site).since_h == 12.0


def test_the_later_of_two_services_counts():
    services = [_done(1040, joint="50 h", day=8), _done(1010, day=5)]
    assert _only(_site([_joint(hours=50)], services=services)).since_h == 12.0


def test_a_service_dated_after_the_moment_is_left_out():
    item = _only(_site([_joint(hours=50)], services=[_done(1040, day=20)]))
    assert item.reason == "never recorded"


def test_central_and_track_tension_are_never_pumped():
    joints = [_joint("pin", hours=50, central=True), _joint("track", hours=50, never_pump=True)]
    central, track = work_list(_site(joints), MONDAY)
    assert (central.status, central.due, central.reason) == (
        "look only",
        False,
        "fed by a central system: look, do not pump",
    )
    assert (track.status, track.due) == ("never pumped", False)
    assert track.reason == "not a lubrication point: never pumped"


def _meter(day, meter_h, *, new=False):
    at = datetime(2031, 3, day, 18)
    return MeterReading(unit="EX-1", at=at, meter_h=meter_h, new_meter=new)


def test_hours_over_a_replaced_meter_are_those_of_both_meters():
    """130 h at the service, 134 h when last read; the new one began at 150 h and shows 160 h."""
    readings = [_meter(6, 134), _meter(6, 150, new=True)]
    item = _only(_site([_joint(hours=50)], meter_h=160, services=[_done(130)], readings=readings))
    assert (item.since_h, item.due) == (14.0, False)
    assert "meter replaced on 6 Mar 2031" in item.reason


def test_hours_that_no_meter_shows_are_hours_per_day_and_said():
    """Service on the 5th, no reading until the new meter on the 8th: four shifts of 8 h between."""
    joints, readings = [_joint(hours=50)], [_meter(8, 150, new=True)]
    item = _only(_site(joints, meter_h=160, services=[_done(130)], readings=readings))
    assert item.since_h == 10.0 + 4 * 8.0
    assert "32 h of it from hours per day" in item.reason
    services = [_done(130, day=1)]
    late = _only(_site(joints, meter_h=160, services=services, readings=readings))
    assert (late.since_h, late.status) == (10.0 + 8 * 8.0, "due")


def test_a_replaced_meter_with_nothing_known_before_is_due():
    readings = [_meter(8, 150, new=True)]
    site = _site([_joint(hours=500)], meter_h=160, services=[_done(130)], readings=readings,
                 hours_per_day=0.0)  # fmt: skip
    item = _only(site)
    assert (item.due, item.since_h) == (True, None)
    assert item.reason.startswith("meter replaced at 130 h, hours before that unknown")


def test_a_later_moment_carries_the_meter_forward_by_hours_per_day():
    """Read on Monday at 05:30 for a shift at 06:30: each shift begun since adds its eight hours."""
    for later, since_h, status in (("10", 45, "not due"), ("11", 53, "due"), ("14", 77, "due")):
        at = datetime.fromisoformat(f"2031-03-{later}T05:30:00").replace(tzinfo=ZONE)
        site = _site([_joint(hours=50)], meter_h=1045, services=[_done(1000)], planned_for=MONDAY)
        (item,) = work_list(site, at)
        assert (item.since_h, item.status) == (since_h, status)
    assert "32 h of it from hours per day since 10 Mar" in item.reason


def test_a_shift_under_way_counts_as_far_as_it_has_gone():
    site = _site([_joint(hours=50)], meter_h=1045, services=[_done(1000)], planned_for=MONDAY)
    (item,) = work_list(site, MONDAY.replace(hour=7, minute=0))
    assert item.since_h == 45.5


def test_a_reading_after_the_fleet_list_is_carried_forward_from_itself():
    readings = [MeterReading(unit="EX-1", at=datetime(2031, 3, 11, 18), meter_h=1046)]
    site = _site([_joint(hours=50)], meter_h=1045, services=[_done(1000)], readings=readings,
                 planned_for=MONDAY)  # fmt: skip
    (item,) = work_list(site, MONDAY.replace(day=13))
    assert item.since_h == 46 + 8


@pytest.mark.parametrize("year", [1, 9999])
def test_moments_at_either_end_of_the_calendar_are_judged(year):
    site = _site([_joint(hours=50)], services=[_done(1000)], planned_for=MONDAY)
    at = datetime(year, 12, 31, 12, tzinfo=ZONE)
    assert len(work_list(site, at)) == 1


def test_a_note_says_that_meters_are_carried_forward_and_from_when():
    site = _site([_joint(hours=50)], services=[_done(1000)], planned_for=MONDAY)
    assert carried_note(site, MONDAY) == ""
    told = carried_note(site, MONDAY.replace(day=12))
    assert told == (
        "Meters last read on 10 Mar 2031: 16 h of 1 unit since then are estimated from hours "
        "per day."
    )


@pytest.mark.parametrize(
    ("begin", "end", "limit_h"),
    [
        ("03-10", "03-31", 25),
        ("02-15", "03-05", 25),
        ("11-01", "03-05", 25),  # over the new year
        ("04-01", "05-31", 50),
        ("11-01", "03-04", 50),
    ],
)
def test_severity_holds_in_its_season_alone(begin, end, limit_h):
    # Greased on 5 March, judged on the 10th: a season that met those days shortens.
    wet = Severity(name="wet", interval_factor=0.5, season_from=begin, season_to=end)
    site = _site([_joint(hours=50)], services=[_done(1010)], severity="wet")
    assert _only(replace(site, severities=(wet,))).interval_h == limit_h


def test_what_the_record_tells_of_a_joint_stands_in_its_reason():
    told = Trouble(
        unit="EX-1", joint="arm pin", fitting="one", kind="blocked", since=MONDAY,
        text="does not take grease since 2031-03-06: for the workshop",
    )  # fmt: skip
    site = replace(_site([_joint(hours=50)], services=[_done(1000)]), past=Past(troubles=(told,)))
    item = _only(site)
    assert item.reason == (
        "52 h since last greasing, every 50 h: 2 h over; "
        "one: does not take grease since 2031-03-06: for the workshop"
    )
    assert item.troubles == ("one: does not take grease since 2031-03-06: for the workshop",)


def test_fittings_are_judged_each_by_its_own_service():
    two = _joint(hours=50, fittings=("one", "two"))
    one = _done(1030, day=8).model_copy(update={"fitting": "one"})
    item = _only(_site([two], services=[_done(1000), one]))
    assert (item.due, item.fittings, item.due_fittings) == (True, 1, ("two",))
    assert item.since_h == 52
    assert item.reason.endswith("2 h over (1 of 2 fittings: two)")
    later = _done(1040, day=9)  # the whole joint, after both
    item = _only(_site([two], services=[_done(1000), one, later]))
    assert (item.due, item.fittings, item.since_h) == (False, 2, 12)


def test_fittings_that_fall_due_before_the_next_round_are_done_with_those_due():
    """Of three fittings one is over, one falls due within 9 h, one has 38 h left."""
    names = ("one", "two", "three")
    joint = _joint(hours=50, fittings=names)
    done = [
        _done(meter_h, day=day).model_copy(update={"fitting": name})
        for name, meter_h, day in zip(names, (1000, 1005, 1040), (5, 6, 9), strict=True)
    ]
    item = _only(_site([joint], services=done, look_ahead_h=9))
    assert (item.status, item.due_fittings) == ("due", ("one", "two"))


def test_a_service_of_another_unit_does_not_count():
    other = _done(1050).model_copy(update={"unit": "EX-2"})
    assert _only(_site([_joint(hours=50)], services=[other])).reason == "never recorded"
    item = _only(_site([_joint(hours=50)], services=[_done(1000), other]))
    assert item.since_h == 52.0


def test_severity_shortens_days_as_well():
    item = _only(_site([_joint(days=10)], services=[_done(1000)], severity="wet"))
    assert item.reason == "5 days since last greasing, every 5 days (shortened for wet): due now"


def test_what_the_operator_greases_is_looked_at():
    item = _only(_site([_joint(hours=10, done_by="operator")]))
    assert (item.status, item.due) == ("look only", False)


def _checked(*, at=None, meter_h=1050.0, formerly=()):
    """The checks due of a digger with one a shift, one every 50 h and one every 30 days."""
    every = {
        "engine oil": Interval(every_shift=True),
        "final drive": Interval(hours=50),
        "battery": Interval(days=30),
    }
    looks = tuple(
        LookPoint(name=name, link="boom", position_m=(0, 0, 1), what="good", interval=interval,
                  formerly=formerly)
        for name, interval in every.items()
    )  # fmt: skip
    site = _site([_joint(hours=50)], meter_h=1100.0)
    joints = site.types["digger"].joints
    machine = MachineType.model_construct(name="digger", joints=joints, attachments=(), looks=looks)
    past = Past()
    if at is not None:
        past = Past(checks=[CheckSeen(unit="EX-1", check=n, at=at, meter_h=meter_h) for n in every])
    return checks_due(replace(site, types={"digger": machine}, past=past), MONDAY)["EX-1"]


def test_a_check_never_recorded_is_due():
    assert _checked() == ("engine oil", "final drive", "battery")


def test_checks_are_due_by_shift_hours_or_days_as_joints_are():
    today, yesterday = MONDAY.replace(hour=5, minute=0), datetime(2031, 3, 9, 6, tzinfo=ZONE)
    a_month_ago = datetime(2031, 2, 8, 6, tzinfo=ZONE)  # 30 days before the 10th of March
    assert _checked(at=today, meter_h=1100.0) == ()
    assert _checked(at=yesterday, meter_h=1092.0) == ("engine oil",)
    assert _checked(at=yesterday, meter_h=1050.0) == ("engine oil", "final drive")
    assert _checked(at=a_month_ago, meter_h=1092.0) == ("engine oil", "battery")


def test_a_check_may_be_told_in_local_time():
    """A check of today without a zone is one of today by the site's clock."""
    assert _checked(at=datetime(2031, 3, 10, 5), meter_h=1100.0) == ()


def test_checks_look_ahead_as_far_as_the_rules_say():
    """45 of 50 h used: in time for today, not where 8 h of work before the next round count."""
    looks = (
        LookPoint(name="final drive", link="boom", position_m=(0, 0, 1), what="good",
                  interval=Interval(hours=50)),
    )  # fmt: skip
    site = _site([_joint(hours=50)], meter_h=1095.0, look_ahead_h=0.0)
    joints = site.types["digger"].joints
    machine = MachineType.model_construct(name="digger", joints=joints, attachments=(), looks=looks)
    past = Past(checks=[CheckSeen(unit="EX-1", check="final drive", at=MONDAY, meter_h=1050.0)])
    site = replace(site, types={"digger": machine}, past=past)
    for look_ahead_h, days_on, names in ((0.0, 1, ()), (8.0, 1, ("final drive",))):
        asked = replace(site, rules=WorkingRules(look_ahead_h=look_ahead_h))
        ahead = MONDAY.replace(day=10 + days_on)
        assert checks_due(asked, MONDAY, next_round=ahead)["EX-1"] == names


def test_every_shift_weighs_as_an_interval_just_used_up():
    item = _only(_site([_joint(every_shift=True)], services=[_done(1050, day=9)]))
    assert (item.reason, item.overdue_ratio) == ("every shift", 1.0)
    never = _only(_site([_joint(every_shift=True)]))
    assert (never.reason, never.overdue_ratio) == ("never recorded", 1.0)


def test_days_and_days_over_stand_in_the_item():
    # Greased on the 5th, every 3 days, judged on the 10th: 2 days over
    item = _only(_site([_joint(days=3)], services=[_done(1050)]))
    assert (item.interval_days, item.overdue_days, item.interval_h) == (3, 2, None)


def test_limits_after_severity_are_told_in_short_words():
    wet = Severity(name="wet", interval_factor=0.5)
    told = {
        "25 h or 1 day (50 h or 2 days, shortened for wet)": Interval(hours=50, days=2),
        "1.5 days (3 days, shortened for wet)": Interval(days=3),
        "every shift or 25 h (every shift or 50 h, shortened for wet)": Interval(
            hours=50, every_shift=True
        ),
    }
    for words, interval in told.items():
        assert shortened(interval, wet).label == words


def test_a_note_counts_the_units_and_rounds_to_tenths():
    site = _site([_joint(hours=50)], services=[_done(1000)], planned_for=MONDAY, hours_per_day=0.26)
    (one,) = site.units
    told = carried_note(site, MONDAY.replace(day=12, tzinfo=None))
    assert "0.5 h of 1 unit since" in told
    two = replace(site, units=(one, one.model_copy(update={"unit": "EX-2"})))
    assert "1 h of 2 units since" in carried_note(two, MONDAY.replace(day=12))


@pytest.mark.parametrize(
    ("hours_per_day", "told"),
    [(0.01, "meter replaced on 8 Mar 2031"), (0.26, "meter replaced on 8 Mar 2031, 1 h of it")],
)
def test_hours_that_no_meter_shows_are_told_in_tenths(hours_per_day, told):
    # Four shifts between the service and the new meter: 0.04 h are nothing, 1.04 h are 1 h
    readings = [_meter(7, 150, new=True), _meter(8, 151, new=True)]
    site = _site([_joint(hours=50)], meter_h=160, services=[_done(130)], readings=readings,
                 hours_per_day=hours_per_day)  # fmt: skip
    reason = _only(site).reason
    assert told in reason
    assert ("from hours per day" in reason) == ("of it" in told)


@pytest.mark.parametrize(
    ("meter_h", "told"),
    [
        (1050.04, "50 h since last greasing, every 50 h: due now"),
        (1050.26, "50.3 h since last greasing, every 50 h: 0.3 h over"),
        (1051.0, "51 h since last greasing, every 50 h: 1 h over"),
        (1049.74, "49.7 h since last greasing, every 50 h: 0.3 h left"),
    ],
)
def test_hours_are_told_in_tenths(meter_h, told):
    assert _only(_site([_joint(hours=50)], meter_h=meter_h, services=[_done(1000)])).reason == told


def test_days_over_are_no_hours_over():
    item = _only(_site([_joint(days=3, hours=500)], services=[_done(1000)]))
    assert (item.overdue_days, item.overdue_h, item.left_h) == (2, 0.0, 448.0)


def test_what_falls_due_ahead_tells_how_much_is_used_and_left():
    item = _only(_site([_joint(hours=50)], services=[_done(1005)], look_ahead_h=9))
    assert (item.status, item.overdue_ratio, item.left_h) == ("ahead", 47 / 50, 3.0)
    later = _only(_site([_joint(hours=50)], services=[_done(1010)]))
    assert (later.status, later.overdue_ratio, later.left_h) == ("not due", 42 / 50, 8.0)


def test_without_a_look_ahead_nothing_falls_due_ahead():
    """0.5 h left and 1.5 h left, none over; half an hour of look-ahead takes the first."""
    joints = [_joint("arm pin", hours=52.5), _joint("arm tip", hours=53.5)]
    services = [_done(1000), _done(1000, joint="arm tip")]
    for look_ahead_h, count in ((0.0, 0), (0.5, 1), (1.5, 2)):
        site = _site(joints, services=services, look_ahead_h=look_ahead_h)
        assert sum(item.due for item in work_list(site, MONDAY)) == count


def test_without_a_look_ahead_days_do_not_fall_due_ahead_either():
    site = _site([_joint(days=5.5)], services=[_done(1000)])
    assert _only(site).status == "not due"
    ahead = replace(site, rules=WorkingRules(look_ahead_h=0.5))
    assert _only(ahead).status == "ahead"


def test_done_today_weighs_nothing_and_a_limit_used_up_further_speaks():
    item = _only(_site([_joint(every_shift=True)], services=[_done(1052, day=10, hour=4)]))
    assert item.overdue_ratio == 0.0
    both = [_joint(every_shift=True, hours=52)]
    even = _only(_site(both, services=[_done(1000)]))
    assert (even.reason, even.overdue_ratio) == ("every shift", 1.0)
    over = _only(_site([_joint(every_shift=True, hours=50)], services=[_done(1000)]))
    assert over.reason == "52 h since last greasing, every 50 h: 2 h over"


def test_an_unknown_severity_says_what_is_known_and_what_to_do():
    site = _site([_joint(hours=50)], severity="dry")
    two = replace(site, severities=(*site.severities, Severity(name="dusty", interval_factor=0.7)))
    for asked, known in ((two, "wet, dusty"), (replace(site, severities=()), "none")):
        with pytest.raises(UnknownName) as found:
            work_list(asked, MONDAY)
        assert str(found.value) == (
            f"unit EX-1: severity 'dry'; allowed: {known}; add a [[severity]] to site.toml or "
            "mend fleet.csv"
        )


def test_a_severity_that_shortens_nothing_is_not_told_as_shortening():
    own = shortened(Interval(hours=50, days=2), Severity(name="easy", interval_factor=1.0))
    assert (own.severity, own.hours_h, own.days) == (None, 50, 2)
    assert "shortened" not in own.label


def test_fractions_of_a_shortened_interval_are_kept():
    own = shortened(Interval(hours=50, days=1), Severity(name="wet", interval_factor=0.33333))
    assert (own.hours_h, own.days) == (16.6665, 0.33333)


def test_days_are_those_of_the_site_whatever_zone_a_moment_is_told_in():
    """23:30 by universal time on the 4th is half past midnight of the 5th in Berlin."""
    late = LastService(
        unit="EX-1", joint="arm pin", at=datetime(2031, 3, 4, 23, 30, tzinfo=UTC), meter_h=1000
    )
    site = _site([_joint(days=50)], services=[late])
    assert _only(site).since_days == 5.0
    # 23:30 on the 9th by universal time is Monday the 10th there too
    assert _only(site, at=datetime(2031, 3, 9, 23, 30, tzinfo=UTC)).since_days == 5.0


def test_a_service_and_a_reading_at_the_very_moment_count():
    at = MONDAY.replace(tzinfo=None)
    done = LastService(unit="EX-1", joint="arm pin", at=at, meter_h=1052)
    assert _only(_site([_joint(hours=50)], services=[_done(1000), done])).since_h == 0.0
    reading = MeterReading(unit="EX-1", at=at, meter_h=1060)
    site = _site([_joint(hours=50)], services=[_done(1000)], readings=[reading],
                 planned_for=MONDAY.replace(day=9))  # fmt: skip
    assert _only(site).since_h == 60.0


def test_several_fittings_due_are_named_in_order():
    names = ("one", "two", "three")
    joint = _joint(hours=50, fittings=names)
    three = _done(1040, day=9).model_copy(update={"fitting": "three"})
    item = _only(_site([joint], services=[_done(1000), three]))
    assert item.reason.endswith("2 h over (2 of 3 fittings: one, two)")


def test_troubles_of_a_joint_that_is_not_due_stay_out_of_its_reason():
    told = Trouble(unit="EX-1", joint="arm pin", fitting="", kind="takes more", since=MONDAY,
                   text="takes more and more")  # fmt: skip
    past = Past(troubles=(told,))
    site = replace(_site([_joint(hours=50)], services=[_done(1010)]), past=past)
    item = _only(site)
    assert item.reason == "42 h since last greasing, every 50 h: 8 h left"
    assert item.troubles == ("takes more and more",)


def test_hours_of_both_kinds_are_told_one_after_the_other():
    readings = [_meter(8, 150, new=True)]
    site = _site([_joint(hours=500)], meter_h=160, services=[_done(130)], readings=readings,
                 planned_for=MONDAY, hours_per_day=7.77)  # fmt: skip
    (item,) = work_list(site, MONDAY.replace(day=11))
    assert (
        "(meter replaced on 8 Mar 2031, 31.1 h of it from hours per day; 7.8 h of it from hours "
        "per day since 10 Mar)" in item.reason
    )
