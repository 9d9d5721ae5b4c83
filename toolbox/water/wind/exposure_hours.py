"""Exposure over the hours of a forecast: a row for each place and hour, and the worst and the mean at each place."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import geopandas as gpd
import numpy as np

from .exposure import Exposure, expose

if TYPE_CHECKING:
    from numpy.typing import ArrayLike
    from shapely.geometry.base import BaseGeometry

    from .forecast import Forecast

IDS: Final = ("spot_id", "ramp_id", "hazard_id", "landmark_id")
BEARINGS: Final = 24
"""Bearings tried for a wind that varies."""

_FIGURES: Final = (
    "fetch_m",
    "fetch_depth_m",
    "wave_m",
    "wave_low_m",
    "wave_high_m",
    "period_s",
    "wave_from_deg",
    "wave_method",
)


def place_ids(places: gpd.GeoDataFrame) -> list[str]:
    """Name each place: by its id where the layer has one, else by its row."""
    column = next((name for name in IDS if name in places.columns), None)
    if column is None:
        return [f"row {number}" for number in range(len(places))]
    return [str(one) for one in places[column]]


def expose_hours(points: ArrayLike, water: BaseGeometry, forecast: Forecast, **told: Any) -> Exposure:
    """Work out the exposure of places to the hours of a forecast.

    Parameters
    ----------
    points, water
        As for `castshed.toolbox.water.wind.exposure.expose`.
    forecast
        The winds.
    told
        Its further options.

    Returns
    -------
    Exposure
        Rows are places, columns hours. In an hour whose wind varies, each place has the figures of the bearing with
        the highest waves of 24 all round, and no bank.
    """
    varies = np.isnan(forecast.wind_from_deg)
    counts = np.where(varies, BEARINGS, 1)
    hour = np.repeat(np.arange(counts.size), counts)
    turn = np.arange(hour.size) - np.repeat(np.cumsum(counts) - counts, counts)
    bearing = np.where(varies[hour], turn * 360.0 / BEARINGS, forecast.wind_from_deg[hour])
    found = expose(points, water, bearing, forecast.wind_mps[hour], averaged_s=forecast.averaged_s, **told)
    if not varies.any():
        return found
    first = np.cumsum(counts) - counts
    high = np.nan_to_num(found.wave_high_m, nan=-1.0)
    column = np.broadcast_to(first, (len(high), counts.size)).copy()
    for one in np.flatnonzero(varies):
        column[:, one] += np.argmax(high[:, first[one] : first[one] + BEARINGS], axis=1)
    rows = np.arange(len(high))[:, None]
    taken = {name: getattr(found, name)[rows, column] for name in (*_FIGURES, "bank")}
    afloat = varies & ~np.isnan(taken["fetch_m"])
    taken["wave_method"][afloat] += f", worst of {BEARINGS} bearings"
    taken["bank"][:, varies] = None
    return Exposure(**taken)


def hourly_rows(places: gpd.GeoDataFrame, found: Exposure, forecast: Forecast) -> gpd.GeoDataFrame:
    """Write out a row for each place and hour.

    Parameters
    ----------
    places
        The places, one row each.
    found
        What `castshed.toolbox.water.wind.exposure.expose` made of them and the hours.
    forecast
        The winds.

    Returns
    -------
    GeoDataFrame
        Hours of the first place, then those of the next; the geometry is the place's. Layers of holds keep
        ``hold_no``.
    """
    hours, count = len(forecast.time), len(places)
    row = np.repeat(np.arange(count), hours)
    ids = np.array(place_ids(places), dtype=object)
    columns: dict[str, object] = {"spot_id": ids[row]}
    if "hold_no" in places.columns:
        columns["hold_no"] = places["hold_no"].to_numpy()[row]
    columns["time"] = np.tile(np.array([t.isoformat() for t in forecast.time], dtype=object), count)
    columns["wind_mps"] = np.tile(forecast.wind_mps, count)
    columns["gust_mps"] = np.tile(forecast.gust_mps, count)
    columns["wind_from_deg"] = np.tile(forecast.wind_from_deg, count)
    for name in (*_FIGURES, "bank"):
        columns[name] = getattr(found, name).ravel()
    return gpd.GeoDataFrame(columns, geometry=places.geometry.to_numpy()[row], crs=places.crs)


def worst_of_hours(places: gpd.GeoDataFrame, found: Exposure, forecast: Forecast) -> gpd.GeoDataFrame:
    """Add the worst and the mean of the hours to each place.

    Parameters
    ----------
    places, found, forecast
        As for `hourly_rows`.

    Returns
    -------
    GeoDataFrame
        The rows of places. Fetch, waves, period, method, bank and direction are those of the hour with the highest
        upper end of the wave band, ``worst_time``; ``wind_mps`` and ``gust_mps`` are the greatest of all hours, which
        need not be the same one. ``wave_mean_m`` and ``wind_mean_mps`` are means over the hours. A place off the water
        has no hour and no figures.
    """
    result = places.copy()
    nowhere = np.isnan(found.wave_high_m).all(axis=1)
    high = np.where(np.isnan(found.wave_high_m), -1.0, found.wave_high_m)
    # Between hours of equal waves the stronger wind is the worse one.
    order = np.lexsort((np.broadcast_to(forecast.wind_mps, high.shape), high), axis=1)
    worst = order[:, -1] if len(places) else np.zeros(0, dtype=np.intp)
    rows = np.arange(len(places))
    for name in _FIGURES:
        result[name] = getattr(found, name)[rows, worst]
    times = np.array([t.isoformat() for t in forecast.time], dtype=object)
    result["wind_mps"] = float(forecast.wind_mps.max())
    gusts = forecast.gust_mps[~np.isnan(forecast.gust_mps)]
    result["gust_mps"] = float(gusts.max()) if gusts.size else np.nan
    result["wind_from_deg"] = forecast.wind_from_deg[worst]
    result["bank"] = found.bank[rows, worst]
    worst_time = times[worst]
    worst_time[nowhere] = None
    result["worst_time"] = worst_time
    result["wave_mean_m"] = found.wave_m.mean(axis=1)
    result["wind_mean_mps"] = float(forecast.wind_mps.mean())
    return result
