"""Sunrise against published times.

Wayne, New Jersey, 25 June 1990, 40.9 N 74.3 W: 9.441 h UT, the worked example of the Almanac for
Computers 1990, Nautical Almanac Office, United States Naval Observatory, as reprinted by its
readers on the web. London 2015, 51.5 N 0.1 W: the times that the tests of the library astral hold
(8:06, 7:43 and 7:56 UT). Times are printed to the minute, so they may lie a minute off.
"""

from datetime import UTC, datetime, timedelta

import pytest

from greaseroute.site.sun import is_down, next_sunrise, sun_height_deg

LONDON, WAYNE, NORTH_CAPE = (-0.1277, 51.508), (-74.3, 40.9), (25.78, 71.17)
PUBLISHED = {
    (WAYNE, datetime(1990, 6, 25, 9, 26, 28, tzinfo=UTC)),
    (LONDON, datetime(2015, 1, 1, 8, 6, tzinfo=UTC)),
    (LONDON, datetime(2015, 12, 1, 7, 43, tzinfo=UTC)),
    (LONDON, datetime(2015, 12, 12, 7, 56, tzinfo=UTC)),
}


@pytest.mark.parametrize(("place", "rises"), PUBLISHED)
def test_the_sun_rises_when_it_is_printed(place, rises):
    found = next_sunrise(rises - timedelta(hours=5), place)
    assert abs(found - rises) <= timedelta(minutes=1)
    assert is_down(rises - timedelta(minutes=2), place)
    assert not is_down(rises + timedelta(minutes=2), place)


def test_in_polar_night_no_sunrise_and_in_polar_day_no_darkness():
    """North Cape: the sun stays down from late November to mid January, up from mid May."""
    winter, summer = (datetime(2026, month, 21, 11, tzinfo=UTC) for month in (12, 6))
    assert next_sunrise(winter, NORTH_CAPE) is None
    assert is_down(winter, NORTH_CAPE)
    assert not any(is_down(summer + timedelta(hours=k), NORTH_CAPE) for k in range(24))


def test_noon_height_at_the_solstice_is_what_the_tilt_of_the_axis_gives():
    """90 degrees less the latitude plus 23.44, the tilt of the axis, on 21 June."""
    day = [datetime(2026, 6, 21, 11, minute, tzinfo=UTC) for minute in range(60)]
    day += [datetime(2026, 6, 21, 12, minute, tzinfo=UTC) for minute in range(60)]
    assert max(sun_height_deg(t, LONDON) for t in day) == pytest.approx(
        90 - 51.508 + 23.44, abs=0.02
    )
