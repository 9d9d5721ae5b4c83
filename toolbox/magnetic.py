"""How far a compass points from true north: the World Magnetic Model, its epoch, and the years it is good for.

The model is NOAA's and the British Geological Survey's, published every five years (public domain); the coefficients
and the sums come with pygeomag. Bearings everywhere are true; where asked, a magnetic one stands beside them.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .errors import DataError, UsageError
from .lon_lat import to_degrees
from .text import bearing_text

if TYPE_CHECKING:
    import geopandas as gpd


@dataclass(frozen=True)
class Declination:
    """Where magnetic north lies: degrees east of true north, by which model, on which day; until when it is good."""

    east_deg: float
    model: str
    day: dt.date
    first: dt.date
    last: dt.date

    def magnetic_text(self, true_deg: float) -> str:
        """Say the magnetic bearing of a true one.

        Examples
        --------
        >>> lake = Declination(-3.0, "WMM-2025", dt.date(2026, 5, 16), dt.date(2025, 1, 1), dt.date(2029, 12, 31))
        >>> lake.magnetic_text(358.0)
        '001° M'
        """
        return f"{bearing_text(true_deg - self.east_deg)} M"

    def words(self) -> str:
        """Say which declination is meant, of which model, and until when that is good.

        Examples
        --------
        >>> lake = Declination(-3.04, "WMM-2025", dt.date(2026, 5, 16), dt.date(2025, 1, 1), dt.date(2029, 12, 31))
        >>> lake.words()
        'Magnetic bearings (M): declination 3.0° W on 2026-05-16, World Magnetic Model WMM-2025, valid to 2029-12-31.'
        """
        side = "E" if self.east_deg >= 0.0 else "W"
        return (
            f"Magnetic bearings (M): declination {abs(self.east_deg):.1f}° {side} on {self.day.isoformat()}, World "
            f"Magnetic Model {self.model}, valid to {self.last.isoformat()}."
        )


def declination_at(lon: float, lat: float, day: dt.date, height_km: float = 0.0) -> Declination:
    """Work out the declination of a place on a day.

    Parameters
    ----------
    lon, lat
        The place, degrees of WGS84.
    day
        The day.
    height_km
        Above the ellipsoid; what a lake lies higher changes nothing that a compass shows.

    Raises
    ------
    UsageError
        The day lies outside the five years of the model.
    DataError
        The place lies where the model says that no compass can be trusted, near a magnetic pole.
    """
    import pygeomag

    model = pygeomag.GeoMag()
    begin, end = (int(year) for year in model.life_span)
    first, last = dt.date(begin, 1, 1), dt.date(end - 1, 12, 31)
    if not first <= day <= last:
        raise UsageError(
            f"Magnetic bearings are asked for {day.isoformat()}; the World Magnetic Model {model.model} is good from "
            f"{first.isoformat()} to {last.isoformat()}. Give a date within it, install a newer pygeomag, or leave "
            "--magnetic out."
        )
    told = model.calculate(lat, lon, height_km, pygeomag.calculate_decimal_year(day))
    if told.in_blackout_zone:
        raise DataError(
            f"No compass can be trusted near {lat:.2f}, {lon:.2f}: the horizontal field is below 2000 nT there "
            "(World Magnetic Model). Leave --magnetic out."
        )
    return Declination(float(told.d), model.model, day, first, last)


def declination_of(layer: gpd.GeoDataFrame, date: str) -> Declination:
    """Work out the declination at the middle of a layer.

    Parameters
    ----------
    layer
        Any layer of the lake.
    date
        The day, as 2026-05-16.

    Raises
    ------
    UsageError
        The day is missing or no date, and as for `declination_at`.
    DataError
        As for `declination_at`.
    """
    try:
        day = dt.date.fromisoformat(date.strip())
    except ValueError:
        raise UsageError(
            "Magnetic bearings change over the years, so they need the day: give --date, such as 2026-05-16."
        ) from None
    west, south, east, north = layer.total_bounds
    lon, lat = to_degrees(layer.crs).transform((west + east) / 2.0, (south + north) / 2.0)
    return declination_at(float(lon), float(lat), day)
