"""Longitude and latitude as files want them: seven decimals, ring order, cut at the 180th meridian."""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING, Final

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
