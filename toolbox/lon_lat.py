"""Longitude and latitude as files want them: seven decimals, ring order, cut at the 180th meridian.

Points put in where a line drawn straight in longitude and latitude would leave the line it stands for.

A leg is straight, and proved, in the plane of its reference system. GeoJSON (RFC 7946 section 3.1.1) draws straight
in longitude and latitude, and so do most readers of GPX and KML: at 45 degrees a leg of 20 km from east to west bows
out by some seven metres.
"""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

if TYPE_CHECKING:
    import pyproj
    from shapely.geometry.base import BaseGeometry

    from .arrays import Floats, Geometries

_STEP_DEG: Final = (
    1e-7  # about 1 cm, the precision RFC 7946 section 11.2 calls plenty and nearly every reader keeps
)
_HALF_DEG: Final = 180.0  # no lake is half the earth wide: what seems to be crosses the 180th meridian


@functools.lru_cache(maxsize=8)
def to_degrees(crs: pyproj.CRS) -> pyproj.Transformer:
    """Make what turns places of a system into longitude and latitude, once; pyproj's may be shared by threads."""
    import pyproj

    return pyproj.Transformer.from_crs(crs, 4326, always_xy=True)


@functools.lru_cache(maxsize=8)
def from_degrees(crs: pyproj.CRS) -> pyproj.Transformer:
    """Make what turns longitude and latitude into places of a system, once."""
    import pyproj

    return pyproj.Transformer.from_crs(4326, crs, always_xy=True)


_NORTHWARD_M: Final = 100.0


def grid_north_deg(crs: pyproj.CRS, x: Floats, y: Floats) -> Floats:
    """Give the true bearing of grid north at places, -180 to 180: what makes a bearing of the grid a true one.

    Parameters
    ----------
    crs
        Projected system in metres.
    x, y
        Places (n,) in it.

    Notes
    -----
    The bearing of the geodesic a hundred metres up the grid, which is the convergence of meridians with the sign that
    PROJ gives it; it sees the direction of the axes as well.
    """
    import pyproj

    crs = pyproj.CRS.from_user_input(crs)
    base, earth = crs.geodetic_crs, crs.get_geod()
    assert base is not None  # a projected system has both
    assert earth is not None
    x, y = np.atleast_1d(np.asarray(x, dtype=np.float64)), np.atleast_1d(np.asarray(y, dtype=np.float64))
    lon, lat = _to_own_degrees(crs, base).transform(
        np.concatenate([x, x]), np.concatenate([y, y + _NORTHWARD_M])
    )
    known = np.isfinite(lon).reshape(2, -1).all(axis=0) & np.isfinite(lat).reshape(2, -1).all(axis=0)
    found = np.full(len(x), np.nan)
    (west, east), (south, north) = lon.reshape(2, -1)[:, known], lat.reshape(2, -1)[:, known]
    found[known] = earth.inv(west, south, east, north)[0]
    return found


@functools.lru_cache(maxsize=8)
def _to_own_degrees(crs: pyproj.CRS, base: pyproj.CRS) -> pyproj.Transformer:
    import pyproj

    return pyproj.Transformer.from_crs(crs, base, always_xy=True)


def true_bearings(grid_deg: Floats, crs: pyproj.CRS, x: Floats, y: Floats) -> Floats:
    """Turn bearings of the grid at places into true ones, 0 to below 360; what has no bearing keeps none."""
    turned: Floats = (np.asarray(grid_deg, dtype=np.float64) + grid_north_deg(crs, x, y)) % 360.0
    return np.where(turned >= 360.0, 0.0, turned)


def north_of(layer: Any) -> float:
    """Give the true bearing of grid north at the middle of a layer; 0 where the layer lies nowhere.

    Winds are told from true north and worked on the grid: a lake of 30 km is turned by 0.3 degrees at most from its
    middle to its end, far less than any wind is known to.
    """
    crs = getattr(layer, "crs", None)
    if crs is None or not crs.is_projected or not len(layer):
        return 0.0
    west, south, east, north = layer.total_bounds
    if not np.isfinite([west, south, east, north]).all():
        return 0.0
    return float(np.nan_to_num(grid_north_deg(crs, (west + east) / 2.0, (south + north) / 2.0)[0]))


def _shifted(geometry: BaseGeometry, by_deg: float) -> BaseGeometry:
    def move(points: Floats) -> Floats:
        moved: Floats = points + np.array([by_deg, 0.0])
        return moved

    return shapely.transform(geometry, move)


def _unwrapped(geometry: BaseGeometry) -> BaseGeometry:
    def move(points: Floats) -> Floats:
        return np.column_stack(
            [np.where(points[:, 0] < 0.0, points[:, 0] + 360.0, points[:, 0]), points[:, 1]]
        )

    return shapely.transform(geometry, move)


def _cut(geometry: BaseGeometry) -> BaseGeometry:
    """Cut in two what crosses the 180th meridian (RFC 7946 section 3.1.9)."""
    whole = _unwrapped(geometry)
    here = shapely.intersection(whole, shapely.box(0.0, -90.0, 180.0, 90.0))
    there = _shifted(shapely.intersection(whole, shapely.box(180.0, -90.0, 360.0, 90.0)), -360.0)
    return shapely.union_all([here, there])


def _rounded(geometries: Geometries) -> Geometries:
    """Round to seven decimals; an area that would no longer be valid is snapped to that grid instead."""
    rounded: Geometries = shapely.transform(geometries, lambda points: np.round(points, 7))
    areas = np.flatnonzero(shapely.get_dimensions(geometries) == 2)
    broken = areas[~shapely.is_valid(rounded[areas])]
    broken = broken[shapely.is_valid(geometries[broken])]
    snapped = shapely.set_precision(geometries[broken], _STEP_DEG)
    # smaller than the grid: an area without extent tells more than none
    kept = (shapely.get_dimensions(snapped) == 2) & ~shapely.is_empty(snapped)
    rounded[broken[kept]] = snapped[kept]
    return rounded


def on_earth(geometries: Geometries) -> Geometries:
    """Make geometries ready for GeoJSON and KML.

    Parameters
    ----------
    geometries
        In WGS84, longitude first, (n,); None where there is none.

    Returns
    -------
    Each cut at the 180th meridian, on the grid of seven decimals, exterior rings counter-clockwise and interior
    ones clockwise (RFC 7946 section 3.1.6; KML 2.2 asks the same of ``Polygon``).
    """
    ready = np.array(geometries, dtype=object)
    bounds = shapely.bounds(ready)
    for row in np.flatnonzero(
        (bounds[:, 2] - bounds[:, 0] > _HALF_DEG) & (shapely.get_dimensions(ready) > 0)
    ):
        ready[row] = _cut(ready[row])
    oriented: Geometries = shapely.orient_polygons(_rounded(ready), exterior_cw=False)
    return oriented


MOST_M: Final = 0.04
"""How far what is drawn may be from what was proved by its shape; rounding to 1e-7 degree adds one centimetre."""

_SHORT_M: Final = 100.0  # below 85 degrees such a piece bows out by less than 3 mm
_PASSES: Final = 6


def _half_way(lon: Floats, lat: Floats) -> tuple[Floats, Floats]:
    """Middle of pieces (n, 2) in degrees, over the 180th meridian where that is the short way."""
    step = (lon[:, 1] - lon[:, 0] + 180.0) % 360.0 - 180.0
    return lon[:, 0] + step / 2.0, lat.mean(axis=1)


def bow_m(ends: Floats, crs: pyproj.CRS) -> Floats:
    """Measure how far the middles of straight pieces move when they are drawn straight in degrees.

    Parameters
    ----------
    ends
        First and last points (n, 2, 2) in a projected system.
    crs
        That system.

    Returns
    -------
    Distance in its metres (n,); NaN where a place has no longitude and latitude.
    """
    lon, lat = to_degrees(crs).transform(ends[..., 0], ends[..., 1])
    x, y = from_degrees(crs).transform(*_half_way(lon, lat))
    middle = ends.mean(axis=1)
    off: Floats = np.hypot(x - middle[:, 0], y - middle[:, 1])
    off[~np.isfinite(off)] = np.nan
    return off


ROUTE_BOW_M: Final = 0.5
"""The same for a route with few turns, whose straights keep so much clearer: it takes no points between for less."""


def with_points_between(geometries: Geometries, crs: pyproj.CRS, most_m: float = MOST_M) -> Geometries:
    """Put points into lines and edges of areas so that drawn straight in degrees they stay where they are.

    Parameters
    ----------
    geometries
        In a projected system (n,); not missing.
    crs
        That system; in degrees nothing is put in.
    most_m
        How far a piece may move.

    Returns
    -------
    The geometries, with corners of old unchanged; no piece moves by more than that.

    Notes
    -----
    How far a piece bows out grows with the square of its length, so each geometry is cut to the length its worst piece
    asks for, and measured again.
    """
    made = np.array(geometries, dtype=object)
    if not crs.is_projected:
        return made
    rows = np.flatnonzero(shapely.get_dimensions(made) > 0)
    for _ in range(_PASSES):
        xy, owner = shapely.get_coordinates(made[rows], return_index=True)
        # Between the rings or parts of one geometry lies no piece; to look at it does no harm.
        along = np.flatnonzero(owner[1:] == owner[:-1])
        length = np.hypot(*(xy[along + 1] - xy[along]).T)
        long = length > _SHORT_M
        along, length = along[long], length[long]
        if not len(along):
            return made
        bow = bow_m(np.stack([xy[along], xy[along + 1]], axis=1), crs)
        wide = bow > most_m
        if not wide.any():
            return made
        fits = np.full(len(rows), np.inf)
        np.minimum.at(fits, owner[along[wide]], length[wide] * np.sqrt(most_m / bow[wide]))
        cut = np.isfinite(fits)
        own = rows[cut]
        cut_to = np.maximum(fits[cut] * 0.95, _SHORT_M / 2.0)
        before = shapely.get_num_coordinates(made[own])
        made[own] = shapely.segmentize(made[own], cut_to)
        rows = own[shapely.get_num_coordinates(made[own]) > before]
    return made
