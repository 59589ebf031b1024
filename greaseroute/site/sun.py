"""Where the sun stands over a site: is it light, and when does it rise."""

import math
from datetime import UTC, datetime, timedelta

NOON_2000 = datetime(2000, 1, 1, 12, tzinfo=UTC)  # epoch J2000.0, but for a minute
RIM_DEG = -0.833  # upper rim on the horizon: refraction 34', half the sun 16'
STEP = timedelta(minutes=10)
EXACT = timedelta(seconds=1)
DAY = timedelta(days=1)


def sun_height_deg(moment: datetime, lonlat: tuple[float, float]) -> float:
    """The height of the middle of the sun above the horizon, without refraction, in degrees.

    Low-precision formulas of the Astronomical Almanac (page C5 of its yearly volumes, from
    memory): good to 0.01 degrees from 1950 to 2050. ``lonlat`` in degrees, east and north.
    """
    days = (moment.astimezone(UTC) - NOON_2000) / DAY
    anomaly = math.radians(357.528 + 0.9856003 * days)
    mean_deg = 280.460 + 0.9856474 * days
    along = math.radians(mean_deg + 1.915 * math.sin(anomaly) + 0.020 * math.sin(2 * anomaly))
    tilt = math.radians(23.439 - 4e-7 * days)
    right_ascension = math.atan2(math.cos(tilt) * math.sin(along), math.cos(along))
    declination = math.asin(math.sin(tilt) * math.sin(along))
    # Sidereal time of Greenwich, then of the place.
    turned = math.radians(280.46062 + 360.98564737 * days + lonlat[0]) - right_ascension
    latitude = math.radians(lonlat[1])
    return math.degrees(
        math.asin(
            math.sin(latitude) * math.sin(declination)
            + math.cos(latitude) * math.cos(declination) * math.cos(turned)
        )
    )


def is_down(moment: datetime, lonlat: tuple[float, float]) -> bool:
    """Whether the sun is below the horizon: before sunrise or after sunset."""
    return sun_height_deg(moment, lonlat) < RIM_DEG


def next_sunrise(moment: datetime, lonlat: tuple[float, float]) -> datetime | None:
    """The first sunrise at or after a moment, to the second; None where none is within a day."""
    begin = moment
    while begin < moment + DAY:
        if is_down(begin, lonlat) and not is_down(begin + STEP, lonlat):
            return _between(begin, begin + STEP, lonlat)
        begin += STEP
    return None


def _between(down: datetime, up: datetime, lonlat: tuple[float, float]) -> datetime:
    """Halved until the moment of rising is known to the second."""
    while up - down > EXACT:
        middle = down + (up - down) / 2
        down, up = (middle, up) if is_down(middle, lonlat) else (down, middle)
    return up
