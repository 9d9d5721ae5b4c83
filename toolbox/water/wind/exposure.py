"""What a wind does at each place: fetch, depth along it, waves with their band, and which bank is near.

Places by winds: every array has one row a place and one column a wind, so that one wind and a day of hourly
winds take the same road.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from ...errors import UsageError
from .fetch import effective_fetch_lengths, fetch_lengths, on_water
from .forecast import HOUR_S, averaging_ratio
from .restricted import ARC_DEG, Restricted, restricted_waves
from .waves import METHOD_TITLES, breaking_limit, duration_needed, wave_band

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray
    from shapely.geometry.base import BaseGeometry

    from ...depth import DepthSurface

    Floats = NDArray[np.float64]
    Texts = NDArray[np.object_]

SAMPLES: Final = 64
"""Depths taken along a fetch, at the middles of as many equal steps."""


@dataclass(frozen=True, eq=False)
class Exposure:
    """Exposure of n places to m winds; every array has shape (n, m).

    Attributes
    ----------
    fetch_m
        Fetch in the form asked for, NaN off the water.
    fetch_depth_m
        Mean depth today along the straight fetch; NaN where less than half of it is known.
    wave_m, wave_low_m, wave_high_m, period_s
        Significant height by the method, least and greatest of all methods, and peak period.
    wave_from_deg
        Where the waves come from by the restricted fetch; on narrow water off the wind's bearing.
    wave_method
        The method in words, with its form and the limit that acted.
    bank
        ``lee``, ``windward`` or ``open``; None off the water.
    """

    fetch_m: Floats
    fetch_depth_m: Floats
    wave_m: Floats
    wave_low_m: Floats
    wave_high_m: Floats
    period_s: Floats
    wave_from_deg: Floats
    wave_method: Texts
    bank: Texts


def _inner_point(shape: BaseGeometry) -> Floats:
    """Coordinates that stand for a shape: half way along its longest line, or inside the polygon."""
    if shapely.get_dimensions(shape) == 1:
        parts = shapely.get_parts(shape)
        longest = parts[int(np.argmax(shapely.length(parts)))]
        point = shapely.line_interpolate_point(longest, 0.5, normalized=True)
    else:
        point = shapely.point_on_surface(shape)
    return np.array([shapely.get_x(point), shapely.get_y(point)])


def place_points(geometry: ArrayLike, water: BaseGeometry) -> Floats:
    """Give the point at which each place is judged.

    Parameters
    ----------
    geometry
        Points, lines or polygons.
    water
        Today's water.

    Returns
    -------
    NDArray
        Coordinates, shape (n, 2): a point's own; of a line the middle of its longest part, of a polygon a point
        well inside. Where that lies ashore, the same of the part on today's water, if there is one. NaN for an
        empty geometry.
    """
    shapes = np.array(geometry, dtype=object)
    shapes[shapely.is_empty(shapes)] = None  # an empty point has no x; nothing at all has NaN
    points = shapely.point_on_surface(shapes)
    dimensions = shapely.get_dimensions(shapes)
    xy = np.column_stack([shapely.get_x(points), shapely.get_y(points)])
    for row in np.flatnonzero(dimensions == 1):
        xy[row] = _inner_point(shapes[row])
    for row in np.flatnonzero(~on_water(xy, water) & (dimensions > 0)):
        wet = shapely.intersection(shapes[row], water)
        # One that only touches the shore from outside leaves a lower dimension.
        if not wet.is_empty and shapely.get_dimensions(wet) == dimensions[row]:
            xy[row] = _inner_point(wet)
    return xy


def mean_depth_along(
    points: ArrayLike, fetch_m: ArrayLike, bearing_deg: float, surface: DepthSurface, level_m: float = 0.0
) -> Floats:
    """Average today's depth along the fetch of each point.

    Parameters
    ----------
    points
        Coordinates, shape (n, 2), metres.
    fetch_m
        Straight-line fetch of each point towards the bearing, shape (n,).
    bearing_deg
        Bearing the wind comes from.
    surface
        Depth below chart datum.
    level_m
        Today's surface minus chart datum.

    Returns
    -------
    NDArray
        Mean of the depths known along the line, dry ground counted as 0; NaN where less than half is known.
    """
    xy, fetch = np.asarray(points, dtype=np.float64), np.asarray(fetch_m, dtype=np.float64)
    share = (np.arange(SAMPLES) + 0.5) / SAMPLES
    reach = fetch[:, None] * share
    angle = np.radians(bearing_deg)
    depth = surface.at(xy[:, :1] + reach * np.sin(angle), xy[:, 1:] + reach * np.cos(angle)) + level_m
    known = np.isfinite(depth)
    count = known.sum(axis=1)
    total = np.where(known, np.maximum(depth, 0.0), 0.0).sum(axis=1)
    return np.where(count * 2 >= SAMPLES, total / np.maximum(count, 1), np.nan)


def bank_words(upwind_m: ArrayLike, downwind_m: ArrayLike, near_m: float) -> Texts:
    """Name the bank a place lies under, as seen from the wind.

    Parameters
    ----------
    upwind_m, downwind_m
        Distance to the shore the wind comes from, and to the shore it blows onto.
    near_m
        A shore farther than this has no bearing.

    Returns
    -------
    NDArray
        ``lee``: in the lee of the bank the wind comes over; ``windward``: off the bank the wind blows onto;
        the nearer of the two counts, the lee when they are equally near; ``open``: neither is near; None
        where NaN.
    """
    up, down = np.broadcast_arrays(
        np.asarray(upwind_m, dtype=np.float64), np.asarray(downwind_m, dtype=np.float64)
    )
    words = np.full(up.shape, "open", dtype=object)
    words[(down <= near_m) & (down < up)] = "windward"
    words[(up <= near_m) & (up <= down)] = "lee"
    words[np.isnan(up) | np.isnan(down)] = None
    return words


def wind_for_waves(
    wind_mps: ArrayLike,
    averaged_s: float,
    fetch_m: ArrayLike,
    depth_m: ArrayLike,
    duration_s: float | None = None,
) -> Floats:
    """Bring a wind averaged over a stated time to the mean over the time its waves need to grow.

    Parameters
    ----------
    wind_mps
        Wind as stated, 10 m above the water.
    averaged_s
        Over how long it is averaged.
    fetch_m, depth_m
        Fetch, and mean depth along it (NaN: deep).
    duration_s
        How long the wind has blown so; None: as long as the waves need.

    Returns
    -------
    NDArray
        Never averaged over more than an hour, for which an hourly forecast stands.

    Notes
    -----
    Ratios of EM 1110-2-1100 Part II-2, figure II-2-1 (`castshed.toolbox.water.wind.forecast.averaging_ratio`). Wind
    and time depend on each other; two rounds settle them.
    """
    hourly = np.asarray(wind_mps, dtype=np.float64) / averaging_ratio(averaged_s)
    wind = hourly
    for _ in range(2):
        needed = duration_needed(wind, fetch_m, depth_m)
        if duration_s is not None:
            needed = np.minimum(needed, duration_s)
        wind = hourly * averaging_ratio(np.minimum(np.nan_to_num(needed, nan=HOUR_S), HOUR_S))
    return wind


def _restricted(
    xy: Floats, water: BaseGeometry, bearings: Floats, speeds: Floats
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Work out restricted fetch, bearing, height and period of its waves, and their height by single radials."""
    shape = (len(xy), bearings.size)
    fetch, origin, height, period, steep = (np.full(shape, np.nan) for _ in range(5))
    speeds = np.broadcast_to(speeds, shape)
    if not len(xy):
        return fetch, origin, height, period, steep
    around = Restricted(xy, water, bearings)
    for bearing in np.unique(bearings % 360.0):
        columns = np.flatnonzero(bearings % 360.0 == bearing)
        own, comes = around.of(float(bearing))
        longest, other = around.of(float(bearing), arcs=False)
        fetch[:, columns], origin[:, columns] = own[:, None], comes[:, None]
        wind = speeds[:, columns]
        height[:, columns], period[:, columns] = restricted_waves(
            wind, own[:, None], (comes - bearing)[:, None]
        )
        steep[:, columns] = restricted_waves(wind, longest[:, None], (other - bearing)[:, None])[0]
    return fetch, origin, height, period, steep


def expose(
    points: ArrayLike,
    water: BaseGeometry,
    wind_from_deg: ArrayLike,
    wind_mps: ArrayLike,
    *,
    surface: DepthSurface | None = None,
    level_m: float = 0.0,
    method: str = "spm-1984",
    effective: bool = False,
    restricted: bool = False,
    by_width: bool = False,
    duration_s: float | None = None,
    near_m: float = 100.0,
    averaged_s: float | None = None,
) -> Exposure:
    """Work out the exposure of places to winds.

    Parameters
    ----------
    points
        Coordinates, shape (n, 2), metres.
    water
        Today's water, one valid Polygon or MultiPolygon.
    wind_from_deg, wind_mps
        Bearings the winds come from and their speeds 10 m above the water, both of shape (m,).
    surface
        Depth below chart datum; None: depth is not known, and the deep-water form is used.
    level_m
        Today's surface minus chart datum.
    method
        A key of `castshed.toolbox.water.wind.waves.WAVE_METHODS`.
    effective
        Use the fetch averaged over fifteen radials in place of the straight line.
    restricted
        Use the restricted fetch and its own law of growth: waves run from where the fetch is long, off the wind.
    by_width
        Use the restricted fetch where the water is narrow for the wind: its waves run off the wind by more than half an
        arc, and higher than along the straight line.
    duration_s
        How long the wind has blown so; None: long enough.
    near_m
        How near a bank has to be to be named.
    averaged_s
        Over how long the winds are averaged; None: not known, and they are taken as they are.

    Returns
    -------
    Exposure
        Rows are places, columns winds. Off the water everything is NaN.

    Raises
    ------
    UsageError
        Winds of different lengths, unknown method, negative speed.
    DataError
        The water is not a valid polygon.

    Notes
    -----
    The band covers all methods along the straight line, along the fetch asked for, and the restricted fetch in deep
    water, both by arcs of 15 degrees and by single radials: its upper end holds the form of restricted fetch whichever
    is chosen.

    Waves are held below 0.78 of today's depth at the place itself, where a higher wave would have broken.
    """
    bearings, speeds = np.asarray(wind_from_deg, dtype=np.float64), np.asarray(wind_mps, dtype=np.float64)
    if bearings.ndim != 1 or bearings.shape != speeds.shape:
        raise UsageError(
            f"{bearings.shape} wind directions and {speeds.shape} speeds are given; give one a wind."
        )
    xy = np.asarray(points, dtype=np.float64)
    both = fetch_lengths(xy, water, np.concatenate([bearings, bearings + 180.0]))
    straight, downwind = both[:, : bearings.size], both[:, bearings.size :]
    fetch = effective_fetch_lengths(xy, water, bearings) if effective else straight

    along = np.full(straight.shape, np.nan)
    here = np.full((len(xy), 1), np.nan)
    if surface is not None:
        here = (surface.at(xy[:, 0], xy[:, 1]) + level_m)[:, None]
        for bearing in np.unique(bearings):
            columns = np.flatnonzero(bearings == bearing)
            mean = mean_depth_along(xy, straight[:, columns[0]], float(bearing), surface, level_m)
            along[:, columns] = mean[:, None]
    if averaged_s is not None:
        speeds = wind_for_waves(speeds, averaged_s, fetch, along, duration_s)
    waves = wave_band(method, speeds, fetch, along, duration_s, straight_fetch_m=straight)
    low, high = waves.low_m, waves.high_m
    if effective:
        other = wave_band(method, speeds, straight, along, duration_s)
        low, high = np.fmin(low, other.low_m), np.fmax(high, other.high_m)
    height, period = waves.height_m, waves.period_s
    narrow, origin, along_m, along_s, steep = _restricted(xy, water, bearings, speeds)
    low, high = np.fmin(low, along_m), np.fmax(np.fmax(high, along_m), steep)
    off = np.abs((origin - bearings[None, :] + 180.0) % 360.0 - 180.0)
    chosen = np.full(fetch.shape, restricted) | (by_width & (off > ARC_DEG / 2.0) & (along_m > height))
    fetch, height, period = (
        np.where(chosen, one, other) for one, other in ((narrow, fetch), (along_m, height), (along_s, period))
    )
    limit = breaking_limit(here)
    words: Texts = np.full(fetch.shape, f"{METHOD_TITLES[method]}, deep-water form", dtype=object)
    words[np.isfinite(along)] = f"{METHOD_TITLES[method]}, form for the mean depth along the fetch"
    words[chosen] = "ACES 1992, restricted fetch, deep-water form"
    if effective:
        words += ", effective fetch"
    if averaged_s is not None:
        words += ", wind averaged as long as the waves need"
    words[height > limit] += ", held at breaking"
    words[np.isnan(fetch)] = "none: not on today's water"
    return Exposure(
        fetch_m=fetch,
        fetch_depth_m=along,
        wave_m=np.minimum(height, limit),
        wave_low_m=np.minimum(low, limit),
        wave_high_m=np.minimum(high, limit),
        period_s=period,
        wave_from_deg=origin,
        wave_method=words,
        bank=bank_words(straight, downwind, near_m),
    )
