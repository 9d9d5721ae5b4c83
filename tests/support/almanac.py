"""Where the sun stands, by low-precision formulas of the Astronomical Almanac (from memory): another road than ours."""

from __future__ import annotations

import datetime as dt
import math

_NOON_2000 = dt.datetime(2000, 1, 1, 12, tzinfo=dt.UTC)


def sun_by_almanac(when, latitude_deg, longitude_deg):
    """Bearing and height of the sun in degrees, good to 0.01 from 1950 to 2050; refraction left out."""
    days = (when - _NOON_2000) / dt.timedelta(days=1)
    mean = math.radians(280.460 + 0.9856474 * days)
    anomaly = math.radians(357.528 + 0.9856003 * days)
    along = mean + math.radians(1.915 * math.sin(anomaly) + 0.020 * math.sin(2 * anomaly))
    tilt = math.radians(23.439 - 4.0e-7 * days)
    ascension = math.atan2(math.cos(tilt) * math.sin(along), math.cos(along))
    declination = math.asin(math.sin(tilt) * math.sin(along))
    sidereal = math.radians(15.0 * (18.697374558 + 24.06570982441908 * days) + longitude_deg)
    turn, up = sidereal - ascension, math.radians(latitude_deg)
    height = math.asin(
        math.sin(up) * math.sin(declination) + math.cos(up) * math.cos(declination) * math.cos(turn)
    )
    east = -math.cos(declination) * math.sin(turn)
    north = math.cos(up) * math.sin(declination) - math.sin(up) * math.cos(declination) * math.cos(turn)
    return math.degrees(math.atan2(east, north)) % 360.0, math.degrees(height)
