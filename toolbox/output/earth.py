"""Longitude and latitude as files want them: seven decimals, ring order, cut at the 180th meridian."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

_STEP_DEG: Final = (
    1e-7  # about 1 cm, the precision RFC 7946 section 11.2 calls plenty and nearly every reader keeps
)


def _shifted(geometry: BaseGeometry, by_deg: float) -> BaseGeometry:
    def move(points: NDArray[np.float64]) -> NDArray[np.float64]:
        moved: NDArray[np.float64] = points + np.array([by_deg, 0.0])
        return moved

    return shapely.transform(geometry, move)


def _unwrapped(geometry: BaseGeometry) -> BaseGeometry:
    def move(points: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack(
            [np.where(points[:, 0] < 0.0, points[:, 0] + 360.0, points[:, 0]), points[:, 1]]
        )

    return shapely.transform(geometry, move)


def _cut(geometry: BaseGeometry) -> BaseGeometry:
    """Cut what crosses the 180th meridian in two (RFC 7946 section 3.1.9); no lake is half the earth wide."""
    west, _, east, _ = geometry.bounds
    if east - west <= 180.0 or shapely.get_dimensions(geometry) == 0:
        return geometry
    whole = _unwrapped(geometry)
    here = shapely.intersection(whole, shapely.box(0.0, -90.0, 180.0, 90.0))
    there = _shifted(shapely.intersection(whole, shapely.box(180.0, -90.0, 360.0, 90.0)), -360.0)
    return shapely.union_all([here, there])


def _rounded(geometry: BaseGeometry) -> BaseGeometry:
    """Round to seven decimals; an area that would no longer be valid is snapped to that grid instead."""
    rounded: BaseGeometry = shapely.transform(geometry, lambda points: np.round(points, 7))
    if shapely.get_dimensions(geometry) < 2 or shapely.is_valid(rounded) or not shapely.is_valid(geometry):
        return rounded
    snapped: BaseGeometry = shapely.set_precision(geometry, _STEP_DEG)
    # smaller than the grid: an area without extent tells more than none
    return snapped if shapely.get_dimensions(snapped) == 2 and not snapped.is_empty else rounded


def on_earth(geometry: BaseGeometry) -> BaseGeometry:
    """Make a geometry ready for GeoJSON and KML.

    Parameters
    ----------
    geometry
        In WGS84, longitude first.

    Returns
    -------
    BaseGeometry
        Cut at the 180th meridian, on the grid of seven decimals, exterior rings counter-clockwise and interior
        ones clockwise (RFC 7946 section 3.1.6; KML 2.2 asks the same of ``Polygon``).
    """
    ready: BaseGeometry = shapely.orient_polygons(_rounded(_cut(geometry)), exterior_cw=False)
    return ready
