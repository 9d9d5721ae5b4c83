"""Daylight on a lake: civil dawn, rise, noon, set and dusk of a day in the lake's own time zone."""

from __future__ import annotations

import datetime as dt
import functools
from typing import TYPE_CHECKING, NamedTuple

import astral
import astral.sun
import pyproj

from ...clock_times import zone_named

if TYPE_CHECKING:
    import zoneinfo
    from collections.abc import Sequence

CIVIL_DEG = 6.0
"""How far the sun stands below the horizon at civil dawn and dusk."""

_DAY = dt.timedelta(days=1)


class SunTimes(NamedTuple):
    """Times of one day, each with its zone; None where the sun does not come to that height on that day."""

    dawn: dt.datetime | None
    rise: dt.datetime | None
    noon: dt.datetime
    set: dt.datetime | None
    dusk: dt.datetime | None


def zone_of(name: str) -> zoneinfo.ZoneInfo:
    """Find a time zone of the IANA database.

    Raises
    ------
    UsageError
        There is none of that name.
    """
    return zone_named(name)


def middle_of(bounds: Sequence[float], crs: pyproj.CRS) -> tuple[float, float]:
    """Latitude and longitude of the middle of an area, degrees.

    Parameters
    ----------
    bounds
        Least x, least y, greatest x and greatest y.
    crs
        Their reference system.
    """
    to_degrees = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
    longitude, latitude = to_degrees.transform((bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2)
    return float(latitude), float(longitude)


def _crossing(
    place: astral.Observer, noon: dt.datetime, depression_deg: float, side: int
) -> dt.datetime | None:
    """Find when the sun crosses a height before (side -1) or after (1) a noon, to the second; None where it does not.

    The library's own sunrise and its like go by calendar dates, and a date may hold two of them or none; its heights
    know no dates. Between noon and the midnight 12 hours from it the sun only sinks.
    """
    zenith_deg = 90.0 + depression_deg
    low = -depression_deg - astral.refraction_at_zenith(zenith_deg)
    start = noon.astimezone(dt.UTC)

    def up(seconds: int) -> bool:
        moment = start + dt.timedelta(seconds=side * seconds)
        return astral.sun.elevation(place, moment, with_refraction=False) >= low

    light, dark = 0, 12 * 3600
    if not up(light) or up(dark):
        return None
    while dark - light > 1:
        middle = (light + dark) // 2
        light, dark = (middle, dark) if up(middle) else (light, middle)
    return (start + dt.timedelta(seconds=side * light)).astimezone(noon.tzinfo)


@functools.lru_cache(maxsize=256)
def sun_times(date: dt.date, zone: dt.tzinfo, latitude_deg: float, longitude_deg: float) -> SunTimes:
    """Work out when it gets light and dark on a day.

    Parameters
    ----------
    date
        Day in the zone given.
    zone
        Time zone of the lake.
    latitude_deg, longitude_deg
        Place, north and east positive.

    Returns
    -------
    SunTimes
        Always in the order dawn, rise, noon, set, dusk. The noon is that of the day asked for; in a zone far from the
        lake's own, dawn or dusk may fall on the day before or after. Where the sun's noon falls at midnight of the
        zone, a day may have none (solar days are up to half a minute longer than 24 hours); the nearest is given.

    Notes
    -----
    Heights of the sun by the package astral (after the solar calculator of a national weather service); good to about
    a minute at middle latitudes. A level horizon is taken: under a bluff or in a gorge it is dark sooner.
    """
    place = astral.Observer(latitude_deg, longitude_deg, 0.0)
    midday = dt.datetime.combine(date, dt.time(12), tzinfo=zone)
    noons = [astral.sun.noon(place, date + shift * _DAY, tzinfo=zone) for shift in (-1, 0, 1)]
    noon = min(noons, key=lambda moment: abs(moment - midday))
    return SunTimes(
        _crossing(place, noon, CIVIL_DEG, -1),
        _crossing(place, noon, astral.sun.SUN_APPARENT_RADIUS, -1),
        noon,
        _crossing(place, noon, astral.sun.SUN_APPARENT_RADIUS, 1),
        _crossing(place, noon, CIVIL_DEG, 1),
    )


def darkness(
    start: dt.datetime, end: dt.datetime, zone: dt.tzinfo, latitude_deg: float, longitude_deg: float
) -> str:
    """Say why a stretch of time is not wholly light.

    Parameters
    ----------
    start, end
        The stretch, with zones.
    zone
        Time zone of the lake, for the words.
    latitude_deg, longitude_deg
        Place, north and east positive.

    Returns
    -------
    str
        Such as ``dark until civil dawn at 05:21``; empty where all of it lies between civil dawn and civil dusk.
    """
    place = astral.Observer(latitude_deg, longitude_deg, 0.0)
    date = start.astimezone(zone).date()
    days = [sun_times(date + shift * _DAY, zone, latitude_deg, longitude_deg) for shift in (-1, 0, 1)]
    for day in days:
        if day.dawn is not None and day.dusk is not None and day.dawn <= start and end <= day.dusk:
            return ""
    dusks = [day.dusk for day in days if day.dusk is not None and start < day.dusk < end]
    if dusks:
        return f"dark from civil dusk at {dusks[0]:%H:%M}"
    dawns = [day.dawn for day in days if day.dawn is not None and start < day.dawn]
    low = astral.sun.elevation(place, start, with_refraction=False) < -CIVIL_DEG
    if low and dawns and dawns[0] - start < _DAY:
        return f"dark until civil dawn at {dawns[0]:%H:%M}"
    if low or astral.sun.elevation(place, end, with_refraction=False) < -CIVIL_DEG:
        return "dark"
    return ""  # light all night
