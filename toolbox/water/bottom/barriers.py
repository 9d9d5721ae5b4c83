"""Where lines cross the links between cells: land as a barrier, contours as borders; and what the shore tells."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from ...depth import DepthSurface

LEAST_SHARE = 0.2
"""A barrier nearer to a centre than this share of a link is taken to be this far, so that slopes stay finite."""

ASIDE = np.array([3.1e-7, 1.7e-7])
"""Lines are moved by so much of a cell. A line that ran exactly through a centre would part it from two of its
neighbours only, and leave a way round itself through the other two. A datum on the border of two cells counts for the
same one however the place is rounded."""


def _scan(
    segments: NDArray[np.float64], lines: int
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.int64]]:
    """Cross segments (u0, v0, u1, v1) with the lines v = 0, 1, ..: number of the line, u there, segment.

    Of each segment the lines from its lower end, which counts, to its upper one, which does not.
    """
    u0, v0, u1, v1 = segments.T
    # Held before they are whole numbers: a place far off the grid may be more than such a number holds.
    first = np.clip(np.ceil(np.minimum(v0, v1)), 0, lines).astype(np.int64)
    last = np.clip(np.ceil(np.maximum(v0, v1)), 0, lines).astype(np.int64)
    count = last - first
    source = np.repeat(np.arange(len(segments)), count)
    line = np.arange(source.size) + np.repeat(first - (np.cumsum(count) - count), count)
    # Each share of a segment is worked out in one order, so that a crossing is the same wherever it is asked for.
    start, rise, run = v0[source], (v1 - v0)[source], (u1 - u0)[source]
    return line, u0[source] + (line - start) * run / rise, source


@dataclass(frozen=True, eq=False)
class Crossings:
    """Crossings of lines with one direction of links.

    ``node`` is the flat index of the centre before the crossing (west or north of it), ``share`` how far along
    the link it lies, ``line`` the index of the line that crosses.
    """

    node: NDArray[np.int64]
    share: NDArray[np.float64]
    line: NDArray[np.int64]
    flips: NDArray[np.int64]
    """Row-wise: flat index of the first centre east of each crossing, also of those outside the grid."""


@dataclass(frozen=True)
class Grid:
    """A north-up grid of cell centres."""

    rows: int
    columns: int
    west_m: float
    north_m: float
    cell_x_m: float
    cell_y_m: float

    def coarser(self) -> Grid:
        """Make the grid with cells twice as wide, from the same corner."""
        return Grid(
            (self.rows + 1) // 2,
            (self.columns + 1) // 2,
            self.west_m,
            self.north_m,
            2 * self.cell_x_m,
            2 * self.cell_y_m,
        )

    def places(self, xy: NDArray[np.float64]) -> NDArray[np.float64]:
        """Turn coordinates into (column, row), whole numbers at the cell centres."""
        return np.column_stack(
            [
                (xy[:, 0] - self.west_m) / self.cell_x_m - 0.5,
                (self.north_m - xy[:, 1]) / self.cell_y_m - 0.5,
            ]
        )


def segments_of(lines: NDArray[np.object_]) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Take simple lines apart: (n, 4) end points of segments and the index of the line each belongs to."""
    xy, line = shapely.get_coordinates(lines, return_index=True)
    same = line[1:] == line[:-1]
    return np.hstack([xy[:-1], xy[1:]])[same], line[:-1][same]


def crossings(
    grid: Grid, segments: NDArray[np.float64], line: NDArray[np.int64]
) -> tuple[Crossings, Crossings]:
    """Cross segments with the links of a grid: those running east, and those running south."""
    places = np.hstack([grid.places(segments[:, :2]) + ASIDE, grid.places(segments[:, 2:]) + ASIDE])
    row, u, source = _scan(places, grid.rows)
    column = np.floor(u).clip(-1, grid.columns - 1).astype(np.int64)
    inside = (column >= 0) & (column < grid.columns - 1)
    flips = row * (grid.columns + 1) + column + 1
    east = Crossings((row * grid.columns + column)[inside], (u - column)[inside], line[source[inside]], flips)
    column, v, source = _scan(places[:, [1, 0, 3, 2]], grid.columns)
    row = np.floor(v).clip(-1, grid.rows - 1).astype(np.int64)
    inside = (row >= 0) & (row < grid.rows - 1)
    south = Crossings(
        (row * grid.columns + column)[inside],
        (v - row)[inside],
        line[source[inside]],
        np.empty(0, dtype=np.int64),
    )
    return east, south


def inside(grid: Grid, east: Crossings) -> NDArray[np.bool_]:
    """Tell which cell centres lie inside the rings that were crossed (odd number of crossings to the west)."""
    turned = np.bincount(east.flips, minlength=grid.rows * (grid.columns + 1))
    odd = turned.astype(np.uint8).reshape(grid.rows, grid.columns + 1)[:, : grid.columns] & 1
    return np.bitwise_xor.accumulate(odd, axis=1).astype(np.bool_)


def _nearest(grid: Grid, node: NDArray[np.int64], share: NDArray[np.float64]) -> NDArray[np.uint8]:
    """Per centre, percent of the link to the nearest barrier; 0 where the link is open."""
    percent = np.ceil(np.clip(share, LEAST_SHARE, 1.0) * 100).astype(np.uint8)
    order = np.lexsort((percent, node))
    node_, first = np.unique(node[order], return_index=True)
    found = np.zeros(grid.rows * grid.columns, dtype=np.uint8)
    found[node_] = percent[order][first]
    return found.reshape(grid.rows, grid.columns)


def barriers(grid: Grid, east: Crossings, south: Crossings, water: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """Give, for the links to east, west, north and south of each centre, where they are barred.

    Returns
    -------
    (4, rows, columns): percent of the link from the centre to the barrier, 0 where the link is open. A link
    between water and land is always barred, and one between two waters when land lies between them.
    """
    step = grid.columns
    bars = np.stack(
        [
            _nearest(grid, east.node, east.share),
            _nearest(grid, east.node + 1, 1 - east.share),
            _nearest(grid, south.node + step, 1 - south.share),
            _nearest(grid, south.node, south.share),
        ]
    )
    half = np.uint8(50)
    # Where a line passes exactly through a centre, the two directions may see it on different sides of it.
    across = water[:, 1:] != water[:, :-1]
    bars[0, :, :-1][across & (bars[0, :, :-1] == 0)] = half
    bars[1, :, 1:][across & (bars[1, :, 1:] == 0)] = half
    down = water[1:] != water[:-1]
    bars[2, 1:][down & (bars[2, 1:] == 0)] = half
    bars[3, :-1][down & (bars[3, :-1] == 0)] = half
    return bars


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
