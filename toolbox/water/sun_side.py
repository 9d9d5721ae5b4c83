"""Where the sun stands, for the shadow a caster throws."""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING, NamedTuple

import pyproj

from ..errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

_NOON_2000 = dt.datetime(2000, 1, 1, 12, tzinfo=dt.UTC)


class Sun(NamedTuple):
    """Bearing and height of the sun, degrees."""

    bearing_deg: float
    height_deg: float


def sun_at(when: dt.datetime, latitude_deg: float, longitude_deg: float) -> Sun:
    """Work out where the sun stands.

    Parameters
    ----------
    when
        Date and time with its zone.
    latitude_deg, longitude_deg
        Place, north and east positive.

    Returns
    -------
    Sun
        Bearing from true north clockwise; height above the level horizon, refraction left out.

    Raises
    ------
    UsageError
        The time has no zone.

    Notes
    -----
    Low-precision formulas of the Astronomical Almanac, given there as good to 0.01 degrees from 1950 to 2050
    (from memory). Refraction lifts a sun at the horizon by about half a degree.
    """
    if when.tzinfo is None or when.utcoffset() is None:
        raise UsageError(f"The time {when.isoformat()} has no zone; write it as 2026-04-18T07:30-05:00.")
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
    return Sun(math.degrees(math.atan2(east, north)) % 360.0, math.degrees(height))


def sun_over(bounds: Sequence[float], crs: pyproj.CRS, when: str) -> Sun:
    """Work out where the sun stands over the middle of an area.

    Parameters
    ----------
    bounds
        Least x, least y, greatest x and greatest y of the area.
    crs
        Their reference system.
    when
        Date and time with its zone, ISO 8601.

    Raises
    ------
    UsageError
        The text is no such time.
    """
    try:
        moment = dt.datetime.fromisoformat(when)
    except ValueError:
        raise UsageError(
            f"'{when}' is no date and time; write it as 2026-04-18T07:30-05:00, with its zone."
        ) from None
    to_degrees = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
    longitude, latitude = to_degrees.transform((bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2)
    return sun_at(moment, latitude, longitude)
