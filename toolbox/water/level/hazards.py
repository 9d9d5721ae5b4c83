"""Hazards of the bottom: areas too shallow, areas without depth, and known things with the water over them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from .isobaths import shallower_than

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from ...arrays import Floats, Geometries
    from ...depth import DepthSurface

_STRAY_CELLS, _STRAY_M = 0.1, 2.0
"""How far the outline of thin water may stray into deeper water, to save corners: the strip along a steep shore is no
wider than a cell itself."""
_QUARTER = 8
# A round buffer is drawn with corners on the circle; so much wider, its sides lie outside it.
_ROUND = 1.0 / np.cos(np.pi / (4 * _QUARTER))


def polygon_parts(geometry: BaseGeometry) -> Geometries:
    """Take the polygons out of any geometry, from west to east, the same order on every machine."""
    parts = np.asarray(shapely.get_parts(shapely.get_parts(geometry)))
    parts = parts[(shapely.get_type_id(parts) == 3) & (shapely.area(parts) > 0)]
    if len(parts) == 0:
        return np.asarray(parts, dtype=object)
    west, south, east, north = shapely.bounds(parts).T
    ordered: Geometries = np.asarray(parts[np.lexsort((north, east, south, west))], dtype=object)
    return ordered


def least_depths(surface: DepthSurface, polygons: Geometries) -> Floats:
    """Least depth of the surface in each of some polygons that do not overlap.

    Notes
    -----
    Taken at the cell centres inside and at the corners of the polygon, where a bilinear surface has its least
    values but for what it bends between them. NaN where neither has a depth.
    """
    from rasterio.features import rasterize
    from rasterio.transform import Affine

    least = np.full(len(polygons), np.inf)
    if len(polygons) == 0:
        return least
    corners, owner = shapely.get_coordinates(polygons, return_index=True)
    at_corner = surface.at(corners[:, 0], corners[:, 1])
    fits = np.isfinite(at_corner)
    np.minimum.at(least, owner[fits], at_corner[fits])
    labels = rasterize(
        zip(polygons, range(1, len(polygons) + 1), strict=True),
        out_shape=surface.shape,
        transform=Affine(surface.cell_x_m, 0.0, surface.west_m, 0.0, -surface.cell_y_m, surface.north_m),
        dtype=np.int32,
    )
    held = (labels > 0) & np.isfinite(surface.depth_m)
    np.minimum.at(least, labels[held] - 1, surface.depth_m[held].astype(np.float64))
    least[np.isinf(least)] = np.nan
    return least


def shallow_area(
    today: DepthSurface, water: BaseGeometry, needed_m: float, unknown: BaseGeometry
) -> BaseGeometry:
    """Draw the water less deep than needed, on the safe side, without what has no depth at all."""
    stray = min(_STRAY_CELLS * min(today.cell_x_m, today.cell_y_m), _STRAY_M)
    area = shapely.intersection(shallower_than(today, needed_m, tolerance_m=stray), water)
    return area if shapely.is_empty(unknown) else shapely.difference(area, unknown)


def widened(things: Geometries, by_m: Floats) -> Geometries:
    """Widen things on all sides by at least so much; a thing without extent and width becomes a small disc."""
    wide = shapely.buffer(things, np.maximum(by_m, 0.01) * _ROUND, quad_segs=_QUARTER)
    return np.asarray(wide)
