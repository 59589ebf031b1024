"""What is owed and why; the sentences are asserted as a technician reads them."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from greaseroute.catalogue.joint import Dose, Fitting, Interval, Joint
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.due.worklist import work_list
from greaseroute.errors import UnknownName
from greaseroute.site.crew import Severity, WorkingRules
from greaseroute.site.fleet import LastService, MeterReading, Unit
from greaseroute.site.model import Site

ZONE = ZoneInfo("Europe/Berlin")
MONDAY = datetime(2031, 3, 10, 5, 30, tzinfo=ZONE)


def _joint(name="arm pin", hours=None, days=None, **more):
    shift = more.pop("every_shift", False)
    return Joint(
        name=name,
        links=("boom", "arm"),
        fittings=(Fitting(name="one", link="arm", position_m=(0, 0, 1)),),
        dose=Dose(cm3=(3, 4)),
        interval=Interval(hours=hours, days=days, every_shift=shift),
        **more,
    )


def _site(joints, *, meter_h=1052.0, severity=None, look_ahead_h=0.0, services=(), readings=()):
    machine = MachineType.model_construct(name="digger", joints=tuple(joints), attachments=())
    unit = Unit(
        unit="EX-1", type="digger", x_m=0, y_m=0, heading_deg=0, meter_h=meter_h, severity=severity
    )
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
    assert (item.due, item.reason, item.overdue_ratio) == (True, "never recorded", 1.0)


def test_look_ahead_alone_makes_it_due():
    joints, services = [_joint(hours=50)], [_done(1005)]
    assert not _only(_site(joints, services=services)).due
    item = _only(_site(joints, services=services, look_ahead_h=9))
    # 47 used, 3 left, 9 h of work before the next round
    assert (item.status, item.due) == ("ahead", True)
    assert item.reason == "falls due in 3 h, before the next round"


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
