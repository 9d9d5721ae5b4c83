"""A raster of depths or elevations brought onto the grid and datum of a depth surface."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...depth import DepthSurface
from .shore import grid_of, rings_of
from .surface import ashore

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from .barriers import Grid


def resampled(surface: DepthSurface, grid: Grid) -> DepthSurface:
    """Read a surface at the cell centres of another grid, bilinear; NaN where it has no depth."""
    x = grid.west_m + (np.arange(grid.columns) + 0.5) * grid.cell_x_m
    depth = np.empty((grid.rows, grid.columns), dtype=np.float32)
    for row in range(grid.rows):  # by rows, so that memory stays that of the result
        y = grid.north_m - (row + 0.5) * grid.cell_y_m
        depth[row] = surface.at(x, np.full(grid.columns, y))
    return DepthSurface(
        depth, grid.west_m, grid.north_m, grid.cell_x_m, grid.cell_y_m, surface.crs, surface.error_m
    )


def depth_from(values: DepthSurface, holds: str, datum_m: float, *, unit_m: float = 1.0) -> DepthSurface:
    """Turn raw values into depths below chart datum.

    Parameters
    ----------
    values
        A raster as read: its numbers are what the raster holds.
    holds
        ``depth`` (positive down, below chart datum), ``elevation`` (positive up) or ``negative-depth``.
    datum_m
        Elevation of chart datum in metres, on the raster's own vertical datum; for ``elevation`` only.
    unit_m
        Length of the raster's unit in metres.
    """
    if unit_m != 1.0:
        values = values.with_depth(values.depth_m * np.float32(unit_m))
    if holds == "elevation":
        return values.with_depth(np.float64(datum_m) - values.depth_m)
    if holds == "negative-depth":
        return values.with_depth(-values.depth_m)
    return values


def with_shore(surface: DepthSurface, lake: BaseGeometry) -> tuple[DepthSurface, int]:
    """Give unknown land centres beside the water what makes the surface 0 at the shoreline.

    Returns
    -------
    The surface, and how many centres inside the shoreline have no depth.
    """
    depth, water = ashore(grid_of(surface), rings_of(lake), surface.depth_m)
    beside = np.isnan(surface.depth_m) & ~water
    filled = np.where(beside, depth, surface.depth_m)
    return surface.with_depth(filled), int((water & np.isnan(surface.depth_m)).sum())
