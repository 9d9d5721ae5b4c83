"""Where the sun stands, for the shadow a caster throws."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, NamedTuple

import astral
import astral.sun

from ...errors import UsageError
from .sun import middle_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pyproj


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
