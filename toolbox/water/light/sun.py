"""Daylight on a lake: civil dawn, rise, noon, set and dusk of a day in the lake's own time zone.

Where the sun stands, for the shadow a caster throws.
"""

from __future__ import annotations

import datetime as dt
import functools
from typing import TYPE_CHECKING, NamedTuple

import astral
import astral.sun
import pyproj

from ...dates_and_times import zone_named
from ...errors import UsageError

if TYPE_CHECKING:
    import zoneinfo
    from collections.abc import Sequence

CIVIL_DEG = 6.0
"""How far the sun stands below the horizon at civil dawn and dusk."""

_DAY = dt.timedelta(days=1)
_LOOK_S, _FEW_S, _NEAR_DEG = 600, 3, 1.0


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


def is_light(when: dt.datetime, latitude_deg: float, longitude_deg: float) -> bool:
    """Tell whether the sun stands no lower than at civil dawn: by its height, whatever rises or sets that day."""
    place = astral.Observer(latitude_deg, longitude_deg, 0.0)
    return bool(astral.sun.elevation(place, when.astimezone(dt.UTC), with_refraction=False) >= -CIVIL_DEG)


@functools.lru_cache(maxsize=256)
def light_spans(
    start: dt.datetime, end: dt.datetime, latitude_deg: float, longitude_deg: float
) -> tuple[tuple[float, float], ...]:
    """List the stretches of a time in which it is light, by the height of the sun alone.

    A day near the pole may have a dawn and no dusk, or neither; so no dawn and no dusk is asked for.

    Parameters
    ----------
    start, end
        The time looked at, with zones.
    latitude_deg, longitude_deg
        Place, north and east positive.

    Returns
    -------
    tuple
        Stretches in whole seconds after the start, in order: each begins and ends light.
    """
    place, first = astral.Observer(latitude_deg, longitude_deg, 0.0), start.astimezone(dt.UTC)
    last = int((end - start).total_seconds())

    def over(seconds: float) -> float:
        moment = first + dt.timedelta(seconds=seconds)
        return float(astral.sun.elevation(place, moment, with_refraction=False)) + CIVIL_DEG

    def crossing(one: int, other: int) -> int:
        """Find the light second next to a crossing between a light and a dark one."""
        light, dark = (one, other) if over(one) >= 0.0 else (other, one)
        while abs(dark - light) > 1:
            middle = (light + dark) // 2
            light, dark = (middle, dark) if over(middle) >= 0.0 else (light, middle)
        return light

    marks = sorted({*range(0, max(last, 0), _LOOK_S), max(last, 0)})
    heights = [over(mark) for mark in marks]
    turning: list[int] = []
    for k in range(1, len(marks) - 1):
        # A dip or a rise may hide between marks: its turning point is looked at too.
        before, now, after = heights[k - 1 : k + 2]
        if (now - before) * (after - now) > 0.0 or abs(now) >= _NEAR_DEG:
            continue
        low, high, sign = marks[k - 1], marks[k + 1], 1.0 if now > before else -1.0
        while high - low > _FEW_S:
            third = (high - low) // 3
            if sign * over(low + third) < sign * over(high - third):
                low += third
            else:
                high -= third
        turning.append((low + high) // 2)
    marks = sorted({*marks, *turning})
    heights = [over(mark) for mark in marks]
    spans: list[tuple[float, float]] = []
    begun: int | None = marks[0] if heights[0] >= 0.0 else None
    for k in range(1, len(marks)):
        if (heights[k] >= 0.0) == (heights[k - 1] >= 0.0):
            continue
        at = crossing(marks[k - 1], marks[k])
        if begun is None:
            begun = at
        else:
            spans.append((float(begun), float(at)))
            begun = None
    if begun is not None and last > begun:
        spans.append((float(begun), float(last)))
    return tuple(spans)


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
    light = light_spans(start, end, latitude_deg, longitude_deg)
    length = (end - start).total_seconds()
    if light == ((0.0, length),):
        return ""
    first = start.astimezone(dt.UTC)
    if light and light[0][0] <= 0.0:
        dusk = (first + dt.timedelta(seconds=light[0][1])).astimezone(zone)
        return f"dark from civil dusk at {dusk:%H:%M}"
    coming = light_spans(start, start + _DAY, latitude_deg, longitude_deg)
    if coming:
        dawn = (first + dt.timedelta(seconds=coming[0][0])).astimezone(zone)
        return f"dark until civil dawn at {dawn:%H:%M}"
    return "dark"


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
    By the package astral. Refraction lifts a sun at the horizon by about half a degree.
    """
    if when.tzinfo is None or when.utcoffset() is None:
        raise UsageError(f"The time {when.isoformat()} has no zone; write it as 2026-04-18T07:30-05:00.")
    place = astral.Observer(latitude_deg, longitude_deg, 0.0)
    bearing = astral.sun.azimuth(place, when) % 360.0
    return Sun(float(bearing), float(astral.sun.elevation(place, when, with_refraction=False)))


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
    return sun_at(moment, *middle_of(bounds, crs))
