"""Daylight on a lake: civil dawn, rise, noon, set and dusk of a day in the lake's own time zone."""

from __future__ import annotations

import datetime as dt
import functools
from typing import TYPE_CHECKING, NamedTuple

import astral
import astral.sun
import pyproj

from ..clock_times import zone_named

if TYPE_CHECKING:
    import zoneinfo
    from collections.abc import Callable, Sequence

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
    ask: Callable[[dt.date], dt.datetime], date: dt.date, noon: dt.datetime, *, before: bool
) -> dt.datetime | None:
    """Find the crossing that belongs to a noon: asked for a date, a sun library may hand back the evening before."""
    for shift in (0, -1, 1):
        try:
            found = ask(date + shift * _DAY)
        except ValueError:  # the sun does not come to that height
            continue
        apart = noon - found if before else found - noon
        if dt.timedelta(0) < apart < dt.timedelta(hours=12, minutes=5):
            return found
    return None


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

    def dawn(day: dt.date) -> dt.datetime:
        return astral.sun.dawn(place, day, depression=CIVIL_DEG, tzinfo=zone)

    def rise(day: dt.date) -> dt.datetime:
        return astral.sun.sunrise(place, day, tzinfo=zone)

    def sunset(day: dt.date) -> dt.datetime:
        return astral.sun.sunset(place, day, tzinfo=zone)

    def dusk(day: dt.date) -> dt.datetime:
        return astral.sun.dusk(place, day, depression=CIVIL_DEG, tzinfo=zone)

    return SunTimes(
        _crossing(dawn, date, noon, before=True),
        _crossing(rise, date, noon, before=True),
        noon,
        _crossing(sunset, date, noon, before=False),
        _crossing(dusk, date, noon, before=False),
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
