"""Figures that the promises rest on, written down a second time on purpose.

The audit shares no code with the planner; that both go by the same figures is held by
``tests/audit/test_house_rules.py``. Lengths in metres.
"""

HEADROOM_M = 2.5  # nobody walks or stands below anything lower than this; house rule
GAP_M = 8.0  # machines so near to each other have a gap in which nobody waits; our setting
STAND_CLEAR_SIGHT_DEG = 120.0  # to either side of straight ahead; common practice, no source
FOOT_WITHIN_M = 1.5  # the foot of steps is at most this far from where one can walk; our setting
HAND_M = 0.15  # the last part of the line, where hand and coupler are; from memory
GRAZE_M = 0.001  # a solid is a hull round the real shape: what only grazes it does not cut
BELOW_FEET_M = 0.05  # a fitting this little below the feet counts as at the feet
LOOK_M, LOOK_HEIGHT_M = 2.0, 2.4  # a look point is read from this far, up to this high
EYES_ABOVE_SHOULDER_M = 0.15  # from memory of body proportions; no source
# Height of the shoulder in each band, as a share of the standing one; from memory, no source.
SHOULDER_SHARE = {"kneel": 0.65, "stoop": 0.75, "stand": 1.0, "overhead": 1.0}
METER_SLACK_H = 0.1 + 1e-6  # meters show tenths, rounded or cut off: so much lower is the same
EDGE_H = 0.05  # so near to its limit a joint may be told either way
BARRIER_HALF_M = 0.001  # a barrier drawn as a line is closed this far to either side
FALL_M = 0.5  # feet so far above the ground are warned of a fall; common practice, no source
# From how far one is warned of a thing; common practice, no source.
WARNED_M = {"FACE": 10.0, "ZONE": 10.0, "WATER": 10.0, "TIP": 5.0, "RAIL": 5.0, "ROAD": 5.0}

# How far figures may lie apart before it is a finding.
TIGHT_M = 1e-6
PLACE_M = 0.001  # a place of a fitting, a stand, a clearance: one millimetre
CLOCK_MS = 2  # a single time: each is rounded to whole milliseconds
SHARE_OFF = 1e-5  # of a time: slow ground bends a walk at points known to a micrometre


def may_be_off_ms(span_ms: float, *, parts: int = 1) -> float:
    """By how much a sum of so many rounded times may lie off."""
    return CLOCK_MS * (parts + 1) + SHARE_OFF * abs(span_ms)
