"""What the shoreline tells about depths: on it, and on the land beyond it, there are none at chart datum."""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .barriers import Grid, crossings, inside, segments_of

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from ...depth import DepthSurface


def grid_of(surface: DepthSurface) -> Grid:
    """Describe the grid a surface lies on."""
    rows, columns = surface.shape
    return Grid(rows, columns, surface.west_m, surface.north_m, surface.cell_x_m, surface.cell_y_m)


def rings_of(area: BaseGeometry) -> NDArray[np.object_]:
    """Take polygons apart into their rings."""
    parts = np.asarray(shapely.get_parts(shapely.get_parts(area)))
    return np.asarray(shapely.get_rings(parts[shapely.get_type_id(parts) == 3]))


def centres_inside(surface: DepthSurface, area: BaseGeometry) -> NDArray[np.bool_]:
    """Tell which cell centres lie inside polygons that do not overlap."""
    return _inside(grid_of(surface), shapely.to_wkb(area))


@functools.lru_cache(maxsize=2)
def _inside(grid: Grid, area: bytes) -> NDArray[np.bool_]:
    """Remember the last two: one day asks for the same lake again and again."""
    segments, line = segments_of(rings_of(shapely.from_wkb(area)))
    east, _ = crossings(grid, segments, line)
    found = inside(grid, east)
    found.flags.writeable = False
    return found


def dry_land(surface: DepthSurface, lake: BaseGeometry) -> NDArray[np.bool_]:
    """Mark unknown cells outside the shoreline: at chart datum their depth is 0 at most.

    Parameters
    ----------
    surface
        Depths below chart datum.
    lake
        Polygons of the shoreline, not overlapping.
    """
    return np.isnan(surface.depth_m) & ~centres_inside(surface, lake)


def _grown(cells: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Add the eight neighbours."""
    found = cells.copy()
    for axis in (0, 1):
        after = np.moveaxis(found, axis, 0)
        before = after.copy()
        after[1:] |= before[:-1]
        after[:-1] |= before[1:]
    return found


def bare_rim(surface: DepthSurface, lake: BaseGeometry) -> NDArray[np.bool_]:
    """Mark known cells beside the water beyond which no land is known.

    A rim of one cell brings a surface to 0 at the shoreline; it is no ground, and at a higher level its numbers say
    nothing of what lies there.
    """
    inside = centres_inside(surface, lake)
    land = np.isfinite(surface.depth_m) & ~inside
    beside = land & _grown(inside)
    ground = land & ~beside
    return np.asarray(beside & ~_grown(ground))
