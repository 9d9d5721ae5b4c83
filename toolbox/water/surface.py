"""A grid of depths from shoreline, contours and soundings, by minimum curvature or by triangles."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .areas import depth_limits, label_areas
from .curvature import DATA, LAND, MARGIN, PLAIN, carry_ashore, find_shore, hold_data, refine, sweep
from .links import Grid, barriers, crossings, inside, segments_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from .links import Crossings

_SWEEPS = 15
_AGAIN = 8  # the sweep before which data are moved to their centres a second time
_DENSE = 0.7  # points along a contour, in cells: no cell on the line stays without


@dataclass(frozen=True, eq=False)
class Measured:
    """What is known of the bottom.

    ``lines`` are simple lines of equal depth ``line_depth_m``: first the ``shores`` rings of the shoreline, at
    depth 0, then the contours. ``xy`` and ``depth_m`` are soundings.
    """

    lines: NDArray[np.object_]
    line_depth_m: NDArray[np.float64]
    shores: int
    xy: NDArray[np.float64]
    depth_m: NDArray[np.float64]

    @classmethod
    def gather(
        cls,
        shoreline: BaseGeometry,
        contours: NDArray[np.object_],
        contour_depth_m: NDArray[np.float64],
        xy: NDArray[np.float64],
        depth_m: NDArray[np.float64],
    ) -> Measured:
        """Take geometries apart: polygons into rings, several lines into single ones; lines without length go."""
        rings = np.asarray(shapely.get_rings(shapely.get_parts(shapely.get_parts(shoreline))))
        parts, source = shapely.get_parts(contours, return_index=True)
        long = shapely.length(parts) > 0
        parts, source = parts[long], source[long]
        return cls(
            np.concatenate([rings, parts]),
            np.concatenate([np.zeros(len(rings)), contour_depth_m[source]]),
            len(rings),
            xy,
            depth_m,
        )

    def points(self, spacing_m: float, *, shore: bool) -> NDArray[np.float64]:
        """Rows of x, y, depth, 1 along the contours (and the shore if asked), and for each sounding."""
        first = 0 if shore else self.shores
        dense = shapely.segmentize(self.lines[first:], spacing_m)
        xy, line = shapely.get_coordinates(dense, return_index=True)
        depth = np.concatenate([self.line_depth_m[first:][line], self.depth_m])
        return np.column_stack([np.vstack([xy, self.xy]), depth, np.ones(len(depth))])


@dataclass(frozen=True, eq=False)
class _Shore:
    """The shoreline on one grid."""

    water: NDArray[np.bool_]
    bars: NDArray[np.uint8]
    east: Crossings
    south: Crossings


def _shore(grid: Grid, segments: NDArray[np.float64], line: NDArray[np.int64]) -> _Shore:
    east, south = crossings(grid, segments, line)
    water = inside(grid, east)
    return _Shore(water, barriers(grid, east, south, water), east, south)


def _means(grid: Grid, table: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Average rows (x, y, depth, number) by cell, weighted by number."""
    place = np.rint(grid.places(table[:, :2])).astype(np.int64)
    held = (place[:, 0] >= 0) & (place[:, 0] < grid.columns) & (place[:, 1] >= 0) & (place[:, 1] < grid.rows)
    table, place = table[held], place[held]
    node, where = np.unique(place[:, 1] * grid.columns + place[:, 0], return_inverse=True)
    number = np.bincount(where, table[:, 3], minlength=len(node))
    means = [np.bincount(where, table[:, k] * table[:, 3], minlength=len(node)) / number for k in range(3)]
    return node, np.column_stack([*means, number])


def _solve(
    grid: Grid,
    known: Measured,
    segments: tuple[NDArray[np.float64], NDArray[np.int64]],
    table: NDArray[np.float64],
    before: tuple[NDArray[np.float32], NDArray[np.bool_]] | None,
    *,
    tension: float,
) -> tuple[NDArray[np.float32], _Shore]:
    """Relax one grid, starting from the next coarser one."""
    ends, line = segments
    shore = _shore(grid, ends[line < known.shores], line[line < known.shores])
    east, south = crossings(grid, ends, line)
    node, means = _means(grid, table)
    wet = shore.water.ravel()[node]
    node, means = node[wet], means[wet]
    contoured = len(known.lines) > known.shores
    label, low, high = depth_limits(
        shore.water, east, south, known.line_depth_m, (node, means[:, 2]), contoured=contoured
    )
    state = np.where(shore.water, PLAIN, LAND).astype(np.uint8)
    state.ravel()[node] = DATA
    state, label = np.pad(state, MARGIN), np.pad(label, MARGIN)
    bars = np.pad(shore.bars, ((0, 0), (MARGIN, MARGIN), (MARGIN, MARGIN)))
    find_shore(state, bars)
    rows, columns = np.divmod(node, grid.columns)
    offset = grid.places(means[:, :2]) - np.column_stack([columns, rows])
    if before is None:
        u = np.zeros(shore.water.shape, dtype=np.float32)
        offset[:] = 0.0
        rounds = 20 * _SWEEPS
    else:
        u = refine(*before, shore.water)
        rounds = _SWEEPS
    u = np.pad(u, MARGIN)
    data = np.column_stack([means[:, 2], offset])
    rows, columns = rows + MARGIN, columns + MARGIN
    held = (low[label[rows, columns]].astype(np.float64), high[label[rows, columns]].astype(np.float64))
    ratio = (grid.cell_x_m / grid.cell_y_m) ** 2
    rounds = int(np.ceil(rounds * max(ratio, 1.0 / ratio)))  # oblong cells settle so much slower
    for k in range(rounds):
        if k in (0, _AGAIN):
            hold_data(u, bars, rows, columns, data, *held)
        sweep(u, state, bars, label, low, high, ratio, tension / (1.0 - tension), k % 2 == 1)
    return np.ascontiguousarray(u[MARGIN:-MARGIN, MARGIN:-MARGIN]), shore


def _without_data(shore: _Shore, known: Measured, grid: Grid) -> NDArray[np.bool_]:
    """Find the waters, apart from each other by land, in which nothing was measured."""
    label, count = label_areas(shore.water, shore.east, shore.south)
    node, _ = _means(grid, known.points(_DENSE * min(grid.cell_x_m, grid.cell_y_m), shore=False))
    measured = np.zeros(count + 1, dtype=np.bool_)
    measured[label.ravel()[node]] = True
    return shore.water & ~measured[label]


def _finish(u: NDArray[np.float32], shore: _Shore, empty: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Carry the surface one centre onto land so that it is 0 at the shoreline; the rest of the land is unknown."""
    depth = np.full(u.shape, np.nan, dtype=np.float32)
    carry_ashore(np.where(empty, np.float32(np.nan), u), shore.water, shore.bars, depth)
    return depth


def ashore(
    grid: Grid, rings: NDArray[np.object_], depth_m: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Carry depths of the water one centre onto land; NaN on the rest of it. Also which centres are water."""
    shore = _shore(grid, *segments_of(rings))
    return _finish(depth_m, shore, np.zeros(depth_m.shape, dtype=np.bool_)), shore.water


def grid_over(bounds: tuple[float, float, float, float], cell_x_m: float, cell_y_m: float) -> Grid:
    """Lay a grid over west, south, east, north with two cells to spare, its lines on multiples of the cell."""
    west, south, east, north = bounds
    left, right = np.floor(west / cell_x_m) - 2, np.ceil(east / cell_x_m) + 2
    bottom, top = np.floor(south / cell_y_m) - 2, np.ceil(north / cell_y_m) + 2
    return Grid(
        int(top - bottom),
        int(right - left),
        float(left * cell_x_m),
        float(top * cell_y_m),
        cell_x_m,
        cell_y_m,
    )


def minimum_curvature(
    grid: Grid,
    known: Measured,
    *,
    tension: float = 0.1,
    progress: Callable[[float], None] | None = None,
) -> NDArray[np.float32]:
    """Depths at cell centres by minimum curvature with tension.

    Parameters
    ----------
    grid
        Cells, reaching beyond the shoreline by two on each side.
    known
        Shoreline, contours and soundings.
    tension
        0 to below 1: 0 bends least and may swing, near 1 behaves like a stretched skin.
    progress
        Called now and then with the share of the work just done.

    Returns
    -------
    Depths; NaN on land, save for a rim of one centre that carries the surface to 0 at the shoreline, and in
    waters in which nothing was measured.

    Notes
    -----
    Coarse to fine: each grid has cells half as wide and starts from the one before, and is relaxed in sweeps. Land is a
    barrier on every link between centres that the shoreline crosses, however thin the spit. Between two contours
    the surface stays between their depths; round a top or in a hollow, within the next contour. Data lie where
    they were measured, not at the centre of their cell: centres are set along the slope of the coarser surface.

    What makes the result wrong: a hump or hollow between two contours that no line shows; contours broken off or
    labelled with another depth; soundings far apart against the size of the forms.
    """
    table = known.points(_DENSE * min(grid.cell_x_m, grid.cell_y_m), shore=False)
    grids, tables = [grid], [_means(grid, table)[1]]
    while min(grids[-1].rows, grids[-1].columns) > 4:
        grids.append(grids[-1].coarser())
        tables.append(_means(grids[-1], tables[-1])[1])
    segments = segments_of(known.lines)
    u, shore = _solve(grids[-1], known, segments, tables[-1], None, tension=tension)
    for level in range(len(grids) - 2, -1, -1):
        u, shore = _solve(grids[level], known, segments, tables[level], (u, shore.water), tension=tension)
        if progress is not None:
            progress(0.75 * 0.25**level)
    return _finish(u, shore, _without_data(shore, known, grid))


def triangles(
    grid: Grid, known: Measured, *, tension: float = 0.0, progress: Callable[[float], None] | None = None
) -> NDArray[np.float32]:
    """Depths at cell centres on a Delaunay triangulation of shoreline, contours and soundings.

    Notes
    -----
    Linear in each triangle; `tension` plays no part. Triangles with all corners on one line are flat: tops are
    cut off at the last contour and hollows filled to it, and a triangle may span a spit. NaN as in
    `minimum_curvature`.
    """
    from scipy.interpolate import LinearNDInterpolator

    del tension
    points = known.points(2.0 * min(grid.cell_x_m, grid.cell_y_m), shore=True)
    centre = points[:, :2].mean(axis=0)
    interpolate = LinearNDInterpolator(points[:, :2] - centre, points[:, 2])
    ends, line = segments_of(known.lines[: known.shores])
    shore = _shore(grid, ends, line)
    row, column = np.nonzero(shore.water)
    x = grid.west_m + (column + 0.5) * grid.cell_x_m - centre[0]
    y = grid.north_m - (row + 0.5) * grid.cell_y_m - centre[1]
    u = np.zeros(shore.water.shape, dtype=np.float32)
    u[row, column] = interpolate(np.column_stack([x, y]))
    if progress is not None:
        progress(1.0)
    return _finish(u, shore, _without_data(shore, known, grid))


METHODS = {"minimum-curvature": minimum_curvature, "triangles": triangles}
