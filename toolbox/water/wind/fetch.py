"""Fetch: how far the wind comes over open water before it reaches a point.

Straight lines against the shoreline itself, not against a grid: for each bearing the shoreline is turned so
that upwind is up, the points are sorted across the wind, and every shore segment finds the run of points it
stands over by bisection. Cost grows with the number of true crossings, not with points times segments.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
import shapely

from ...errors import DataError, UsageError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import ArrayLike, NDArray
    from shapely.geometry.base import BaseGeometry

    Floats = NDArray[np.float64]

RADIALS_DEG: Final = tuple(range(-42, 43, 6))
"""Angles of the fifteen radials of the effective fetch, from the wind's own bearing."""

ON_SHORE_M: Final = 1e-3
"""A point no farther than this from the shore stands on it."""

_TOUCH_M: Final = 1e-6  # a ray this near a shore meets it
_PAIRS_AT_ONCE: Final = 2_000_000


class _Shore(NamedTuple):
    """All vertices of the shore in order, from a local origin so that turning loses no digits.

    Each vertex and the next one make a segment, but for those of ``gaps``, where another ring begins.
    """

    x: Floats
    y: Floats
    gaps: NDArray[np.intp]


def _shore(water: BaseGeometry, origin: Floats) -> _Shore:
    rings = shapely.get_rings(shapely.get_parts(water))
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    x, y = np.ascontiguousarray((xy - origin).T)
    return _Shore(x, y, np.flatnonzero(ring[1:] != ring[:-1]))


def _pairs(
    first: NDArray[np.intp], count: NDArray[np.intp]
) -> Iterator[tuple[NDArray[np.intp], NDArray[np.intp]]]:
    """Write out runs of points as (segment, point) pairs, some millions at a time."""
    used = np.flatnonzero(count)
    total = np.cumsum(count[used])
    start = 0
    while start < used.size:
        before = total[start - 1] if start else 0
        stop = max(start + 1, int(np.searchsorted(total, before + _PAIRS_AT_ONCE, side="right")))
        part = used[start:stop]
        lengths = count[part]
        segment = np.repeat(part, lengths)
        ends = np.cumsum(lengths)
        point = np.arange(ends[-1]) - np.repeat(ends - lengths, lengths) + np.repeat(first[part], lengths)
        yield segment, point
        start = stop


def _upwind(points: Floats, shore: _Shore, bearing_deg: float, near_m: Floats) -> Floats:
    """Measure to the nearest shore towards a bearing; hits closer than near_m do not count."""
    east, north = np.sin(np.radians(bearing_deg)), np.cos(np.radians(bearing_deg))
    across = points[:, 0] * north - points[:, 1] * east
    along = points[:, 0] * east + points[:, 1] * north
    order = np.argsort(across, kind="stable")
    across, along, near = across[order], along[order], near_m[order]
    u, v = shore.x * north - shore.y * east, shore.x * east + shore.y * north
    # Closed at both ends, and by a micrometre more, so that rounding cannot slip a ray past a headland's tip or
    # between two segments: a shore that is only touched ends the fetch as well.
    low = np.searchsorted(across, u - _TOUCH_M, side="left")
    high = low.copy()
    close = np.flatnonzero(np.append(across, np.inf)[low] <= u + _TOUCH_M)
    high[close] = np.searchsorted(across, u[close] + _TOUCH_M, side="right")
    first = np.minimum(low[:-1], low[1:])
    count = np.maximum(high[:-1], high[1:]) - first
    width, rise = np.diff(u), np.diff(v)
    count[shore.gaps] = 0
    count[width == 0.0] = 0  # a shore along the wind: its ends belong to its neighbours too
    best = np.full(along.size, np.inf)
    for segment, point in _pairs(first, count):
        share = np.clip((across[point] - u[segment]) / width[segment], 0.0, 1.0)
        reach = v[segment] + share * rise[segment] - along[point]
        ahead = reach >= near[point]
        np.minimum.at(best, point[ahead], reach[ahead])
    result = np.empty_like(best)
    result[order] = best
    return result


def _check_water(water: BaseGeometry) -> BaseGeometry:
    if water is None or water.geom_type not in {"Polygon", "MultiPolygon"}:
        given = "nothing" if water is None else f"a {water.geom_type}"
        raise DataError(f"The water is given as {given}; a Polygon or MultiPolygon is needed.")
    if water.is_empty or not water.is_valid:
        why = "empty" if water.is_empty else f"not valid ({shapely.is_valid_reason(water)})"
        raise DataError(f"The water polygon is {why}; repair the layer first (shapely.make_valid).")
    return water


def _check_points(points: ArrayLike) -> Floats:
    xy = np.asarray(points, dtype=np.float64)
    if xy.ndim != 2 or xy.shape[1] != 2:
        raise UsageError(
            f"Points are given with shape {xy.shape}; an array of shape (n, 2) in metres is needed."
        )
    return xy


def _check_bearings(bearings_deg: ArrayLike) -> Floats:
    bearings = np.asarray(bearings_deg, dtype=np.float64)
    if bearings.ndim != 1 or not np.isfinite(bearings).all():
        raise UsageError("Bearings must be a list of finite numbers in degrees, clockwise from north.")
    return bearings


def on_water(points: ArrayLike, water: BaseGeometry) -> NDArray[np.bool_]:
    """Tell which points lie on the water or on its shore.

    Parameters
    ----------
    points
        Coordinates, shape (n, 2), metres.
    water
        Polygon or MultiPolygon; holes are islands.

    Returns
    -------
    NDArray
        True inside the water and within a millimetre of its shore; False for coordinates that are not finite.
    """
    xy, water = _check_points(points), _check_water(water)
    finite = np.isfinite(xy).all(axis=1)
    found = np.zeros(len(xy), dtype=bool)
    shapely.prepare(water)
    found[finite] = shapely.contains_xy(water, xy[finite])
    rest = np.flatnonzero(finite & ~found)
    if rest.size:
        found[rest] = shapely.dwithin(shapely.boundary(water), shapely.points(xy[rest]), ON_SHORE_M)
    return found


def fetch_lengths(points: ArrayLike, water: BaseGeometry, bearings_deg: ArrayLike) -> Floats:
    """Measure the straight-line fetch of many points on many bearings.

    Parameters
    ----------
    points
        Coordinates, shape (n, 2), metres in a projected system.
    water
        Polygon or MultiPolygon of today's water; holes are islands. Parts that share an edge must be united
        before, or the shared edge counts as shore.
    bearings_deg
        Bearings to look along, shape (m,), degrees clockwise from grid north. For a wind, the bearing it
        comes FROM.

    Returns
    -------
    NDArray
        Distances in metres, shape (n, m): from the point towards the bearing to the first shore. NaN where
        the point is not on water. A point on the shore itself sees the water on its open side and 0 towards
        the land.

    Raises
    ------
    DataError
        The water is not a valid, filled polygon.
    UsageError
        Points or bearings have the wrong shape or are not finite.

    Notes
    -----
    Exact but for rounding: straight lines in the plane of the layer's reference system, against every
    vertex of the shoreline. A shore that is only touched, or passed within a micrometre, ends the fetch.

    What makes it wrong: water cut off at the edge of a map reads as shore; a shoreline at another level than
    today's; islands, causeways and timber that the layer does not have; grid north taken for true north (the
    convergence of a UTM zone can reach a few degrees).

    Examples
    --------
    >>> import shapely
    >>> fetch_lengths([(30.0, 20.0)], shapely.box(0, 0, 100, 50), [0.0, 90.0, 270.0]).round(6).tolist()
    [[30.0, 70.0, 30.0]]
    """
    xy, water, bearings = _check_points(points), _check_water(water), _check_bearings(bearings_deg)
    result = np.full((len(xy), bearings.size), np.nan)
    here = np.flatnonzero(on_water(xy, water))
    if not here.size or not bearings.size:
        return result
    bounds = np.asarray(water.bounds)
    origin = (bounds[:2] + bounds[2:]) / 2.0
    shore = _shore(water, origin)
    local = xy[here] - origin
    edge = shapely.boundary(water)
    shapely.prepare(edge)
    ashore = shapely.dwithin(edge, shapely.points(xy[here]), ON_SHORE_M)
    # Two millimetres: beyond the shore that an ashore point stands on, whichever side of it rounding put it.
    near = np.where(ashore, 2.0 * ON_SHORE_M, 0.0)
    distinct, back = np.unique(bearings % 360.0, return_inverse=True)
    for column, bearing in enumerate(distinct):
        reach = _upwind(local, shore, float(bearing), near)
        if ashore.any():
            far = np.where(np.isfinite(reach[ashore]), reach[ashore], 0.0)
            step = far[:, None] / 2.0 * [np.sin(np.radians(bearing)), np.cos(np.radians(bearing))]
            reach[ashore] = np.where(shapely.contains_xy(water, xy[here][ashore] + step), far, 0.0)
        result[np.ix_(here, np.flatnonzero(back == column))] = reach[:, None]
    return result


def cosine_mean(radials_m: ArrayLike, angles_deg: ArrayLike = RADIALS_DEG) -> Floats:
    """Average radials of a fetch, each weighted with the cosine of its angle from the wind.

    Parameters
    ----------
    radials_m
        Lengths, last axis one a radial.
    angles_deg
        Angle of each radial from the wind's bearing, degrees, all within 90 of it.

    Returns
    -------
    NDArray
        ``sum(length * cos) / sum(cos)`` over the last axis, metres; NaN where a radial is NaN.

    Notes
    -----
    The radial ITSELF is weighted. Older texts weight its projection on the wind, ``length * cos``, and so
    have the cosine squared; the two give different fetches for the same lake. This is the form of reservoir
    freeboard sheets after IS 6512.

    Raises
    ------
    UsageError
        As many angles as radials are needed, each within 90 degrees of the wind.

    Examples
    --------
    >>> cosine_mean([100.0, 200.0, 100.0], [-60.0, 0.0, 60.0]).tolist()
    150.0
    """
    radials, angles = np.asarray(radials_m, dtype=np.float64), np.asarray(angles_deg, dtype=np.float64)
    if angles.ndim != 1 or radials.shape[-1:] != angles.shape or not (np.abs(angles) < 90.0).all():
        raise UsageError(
            f"{radials.shape[-1:]} radials and {angles.shape} angles are given; give one angle a radial, "
            "each within 90 degrees of the wind."
        )
    weights = np.cos(np.radians(angles))
    return np.asarray(radials @ weights / weights.sum(), dtype=np.float64)


def effective_fetch_lengths(points: ArrayLike, water: BaseGeometry, bearings_deg: ArrayLike) -> Floats:
    """Measure the effective fetch: fifteen radials, 6 degrees apart, cosine-weighted.

    Parameters
    ----------
    points, water, bearings_deg
        As for `fetch_lengths`.

    Returns
    -------
    NDArray
        Distances in metres, shape (n, m); NaN where the point is not on water.

    Notes
    -----
    Radials from -42 to 42 degrees of the wind, weighted as in `cosine_mean`. An averaged fetch belongs to
    growth formulas calibrated with it; EM 1110-2-1100 Part II-2 (Coastal Engineering Manual) wants the
    straight line.
    """
    bearings = _check_bearings(bearings_deg)
    fan = np.add.outer(bearings, np.asarray(RADIALS_DEG, dtype=np.float64)) % 360.0
    # Neighbouring winds share radials; rounding lets them be seen as the same.
    distinct, back = np.unique(fan.round(9), return_inverse=True)
    radials = fetch_lengths(points, water, distinct)
    return cosine_mean(radials[:, back.reshape(fan.shape)])
