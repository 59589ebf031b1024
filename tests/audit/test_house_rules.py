"""The audit writes the figures of the house down a second time: both must be the same."""

from greaseroute.audit import house_rules
from greaseroute.intervals import meter
from greaseroute.rounds import place_cautions
from greaseroute.stands import clear, decks, reach
from greaseroute.walk import footprint, obstacles


def test_the_audit_goes_by_the_figures_of_the_planner():
    assert house_rules.HEADROOM_M == footprint.HEADROOM_M
    assert house_rules.WARNED_M == place_cautions.NEAR_M
    assert house_rules.FALL_M == place_cautions.FALL_M
    assert house_rules.BARRIER_HALF_M == obstacles.BARRIER_HALF_M
    assert house_rules.STAND_CLEAR_SIGHT_DEG == clear.SIGHT_DEG
    assert house_rules.GAP_M == clear.GAP_M
    assert house_rules.FOOT_WITHIN_M == decks.FOOT_WITHIN_M
    assert house_rules.METER_SLACK_H == meter.READING_SLACK_H
    for name in ("HAND_M", "GRAZE_M", "BELOW_FEET_M", "LOOK_M", "LOOK_HEIGHT_M"):
        assert getattr(house_rules, name) == getattr(reach, name)
    assert house_rules.EYES_ABOVE_SHOULDER_M == reach.EYES_ABOVE_SHOULDER_M
    assert tuple(house_rules.SHOULDER_SHARE) == reach.BANDS
    assert tuple(house_rules.SHOULDER_SHARE.values()) == reach.SHOULDER_SHARE
