"""A grid of depths from shoreline, contours and soundings, by minimum curvature or by triangles."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .areas import depth_limits, label_areas
from .barriers import Grid, crossings, segments_of
from .curvature import (
    DATA,
    LAND,
    MARGIN,
    PLAIN,
    carry_ashore,
    find_shore,
    held_values,
    refine,
    settle_data,
    settle_shore,
    sweep,
)
from .measured import DENSE, Gathering, Measured, Shore, mean_rows, shore_on

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

__all__ = ["METHODS", "Measured", "ashore", "grid_over", "minimum_curvature", "scale_of", "triangles"]

CONTOUR_TENSION, SOUNDING_TENSION = 0.3, 0.1
_SWEEPS = 15
_FIRM = 0.999  # trust from which on data are kept exactly
_HELD = (0, 5, 10)  # the sweeps before which data are moved along the slope to their centres


@dataclass(frozen=True, eq=False)
class Scale:
    """One grid of the ladder, with its shore and the mean rows (x, y, depth, trust, weight) its cells can use."""

    grid: Grid
    shore: Shore
    lines: tuple[NDArray[np.int64], NDArray[np.float64]]
    soundings: tuple[NDArray[np.int64], NDArray[np.float64]]


def ladder(
    grid: Grid,
    known: Measured,
    *,
    rows: tuple[NDArray[np.float64], NDArray[np.float64]] | None = None,
    most: int = 99,
) -> tuple[list[Scale], tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Make the ladder of grids, fine to coarse, at most so many, each with what was measured averaged by cell.

    Parameters
    ----------
    grid
        The finest one.
    known
        What was measured.
    rows
        Rows along lines and of soundings, where they were averaged before on finer grids.
    most
        Number of grids.

    Returns
    -------
    The grids, and the rows along lines and of soundings that the next coarser one would be given.
    """
    gathering = Gathering(known)
    if rows is None:
        lines = known.along_lines(DENSE * min(grid.cell_x_m, grid.cell_y_m), shore=False)
        soundings = known.soundings()
    else:
        lines, soundings = rows
    scales: list[Scale] = []
    while True:
        shore = shore_on(grid, known.lines[: known.shores])
        line_node, line_means, line_rest = gathering.by_cell(grid, shore, lines)
        node, means, rest = gathering.by_cell(grid, shore, soundings)
        scales.append(Scale(grid, shore, (line_node, line_means), (node, means)))
        lines, soundings = np.vstack([line_means, line_rest]), np.vstack([means, rest])
        if min(grid.rows, grid.columns) <= 4 or len(scales) == most:
            return scales, (lines, soundings)
        grid = grid.coarser()


def scale_of(grid: Grid, known: Measured) -> Scale:
    """Lay out on one grid what is known: its shore, and the mean of the data each cell can use."""
    return ladder(grid, known, most=1)[0][0]


def relax(
    scale: Scale,
    limits: tuple[NDArray[np.int32], NDArray[np.float32], NDArray[np.float32]],
    before: tuple[NDArray[np.float32], Shore] | None,
    *,
    tension: float,
    kept: NDArray[np.bool_] | None = None,
) -> NDArray[np.float32]:
    """Relax one grid, starting from the next coarser one.

    Parameters
    ----------
    scale
        The grid and its data.
    limits
        Area of each centre, and the least and greatest depth by area.
    before
        Depths on the next coarser grid, and its shore; None for the coarsest.
    tension
        0 to below 1.
    kept
        Centres that keep what the coarser grid gives them.
    """
    grid, shore = scale.grid, scale.shore
    label, low, high = limits
    node, means = mean_rows(
        np.concatenate([scale.lines[0], scale.soundings[0]]), np.vstack([scale.lines[1], scale.soundings[1]])
    )
    if kept is not None:
        moved = ~kept.ravel()[node]
        node, means = node[moved], means[moved]
    trust = means[:, 3].astype(np.float32)
    firm = trust >= _FIRM
    free = shore.water if kept is None else shore.water & ~kept
    state = np.where(free, PLAIN, LAND).astype(np.uint8)
    state.ravel()[node[firm]] = DATA
    rows, columns = np.divmod(node, grid.columns)
    offset = grid.places(means[:, :2]) - np.column_stack([columns, rows])
    if before is None:
        u = np.zeros(shore.water.shape, dtype=np.float32)
        offset[:] = 0.0
        rounds = 20 * _SWEEPS
    else:
        u = refine(before[0], before[1].water, before[1].bars, shore.water, shore.bars)
        unknown = np.isnan(u)
        u[unknown] = ((low + high) / np.float32(2))[label[unknown]]
        rounds = _SWEEPS
    state, label, u = np.pad(state, MARGIN), np.pad(label, MARGIN), np.pad(u, MARGIN)
    bars = np.pad(shore.bars, ((0, 0), (MARGIN, MARGIN), (MARGIN, MARGIN)))
    find_shore(state, bars)
    data = np.column_stack([means[:, 2], offset])
    rows, columns = rows + MARGIN, columns + MARGIN
    held = (low[label[rows, columns]].astype(np.float64), high[label[rows, columns]].astype(np.float64))
    ratio = (grid.cell_x_m / grid.cell_y_m) ** 2
    rounds = int(np.ceil(rounds * max(ratio, 1.0 / ratio)))  # oblong cells settle so much slower
    loose, share = (rows[~firm], columns[~firm]), trust[~firm]
    for k in range(rounds):
        if k in _HELD:
            value = held_values(u, bars, rows, columns, data, *held)
            u[rows[firm], columns[firm]] = value[firm]
            value = value[~firm]
        sweep(u, state, bars, label, low, high, ratio, tension / (1.0 - tension), k % 2 == 1)
        u[loose] += share * (value - u[loose])
    if before is not None:
        settle_data(u, state, bars, (label, low, high), rows[firm], columns[firm], data[firm])
    return np.ascontiguousarray(u[MARGIN:-MARGIN, MARGIN:-MARGIN])


def _solve(
    scale: Scale,
    known: Measured,
    segments: tuple[NDArray[np.float64], NDArray[np.int64]],
    before: tuple[NDArray[np.float32], Shore] | None,
    *,
    tension: float,
) -> NDArray[np.float32]:
    """Relax one grid of the whole lake."""
    east, south = crossings(scale.grid, *segments)
    limits = depth_limits(
        scale.shore.water,
        east,
        south,
        known.line_depth_m,
        (scale.soundings[0], scale.soundings[1][:, 2]),
        contoured=len(known.lines) > known.shores,
    )
    return relax(scale, limits, before, tension=tension)


def relax_all(
    scales: list[Scale],
    known: Measured,
    *,
    tension: float,
    progress: Callable[[float], None] | None = None,
) -> NDArray[np.float32]:
    """Relax a ladder of grids of the whole lake from coarse to fine; all but the finest are taken off the list."""
    segments = segments_of(known.lines)
    u = _solve(scales[-1], known, segments, None, tension=tension)
    for level in range(len(scales) - 2, -1, -1):
        before = (u, scales.pop().shore)
        u = _solve(scales[level], known, segments, before, tension=tension)
        if progress is not None:
            progress(0.75 * 0.25**level)
    return u


def usual_tension(known: Measured) -> float:
    """Tension where none is given: less where there are soundings only."""
    return CONTOUR_TENSION if len(known.lines) > known.shores else SOUNDING_TENSION


def _without_data(scale: Scale) -> NDArray[np.bool_]:
    """Find the waters, apart from each other by land, in which nothing was measured."""
    shore = scale.shore
    label, count = label_areas(shore.water, shore.east, shore.south)
    node = np.concatenate([scale.lines[0], scale.soundings[0]])
    measured = np.zeros(count + 1, dtype=np.bool_)
    measured[label.ravel()[node]] = True
    return shore.water & ~measured[label]


def finish(
    u: NDArray[np.float32],
    shore: Shore,
    empty: NDArray[np.bool_],
    grid: Grid,
    rings: NDArray[np.object_],
) -> NDArray[np.float32]:
    """Carry the surface one centre onto land so that it is 0 at the shoreline; the rest of the land is unknown."""
    depth = np.full(u.shape, np.nan, dtype=np.float32)
    carry_ashore(np.where(empty, np.float32(np.nan), u), shore.water, shore.bars, depth)
    along = shapely.segmentize(rings, DENSE * min(grid.cell_x_m, grid.cell_y_m))
    settle_shore(depth, shore.water, grid.places(shapely.get_coordinates(along)))
    return depth


def ashore(
    grid: Grid, rings: NDArray[np.object_], depth_m: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Carry depths of the water one centre onto land; NaN on the rest of it. Also which centres are water."""
    shore = shore_on(grid, rings)
    return finish(depth_m, shore, np.zeros(depth_m.shape, dtype=np.bool_), grid, rings), shore.water


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
    tension: float | None = None,
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
        0 to below 1: 0 bends least and may swing, near 1 behaves like a stretched skin. By default 0.3 where
        there are contours, else 0.1.
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
    Data of less trust pull the surface towards them by so much in each sweep, against what it would be without.
    Nothing crosses the shore on the way from coarse to fine either: a cell averages only what lies on its
    centre's side, and takes its start only from there.
    The tensions were chosen on made bottoms and a real estuary: contours show wide swells and leave the small ones
    to chance, which a stiffer surface would swing through.

    What makes the result wrong: a hump or hollow between two contours that no line shows; contours broken off or
    labelled with another depth; soundings far apart against the size of the forms.
    """
    tension = usual_tension(known) if tension is None else tension
    scales, _ = ladder(grid, known)
    u = relax_all(scales, known, tension=tension, progress=progress)
    return finish(u, scales[0].shore, _without_data(scales[0]), grid, known.lines[: known.shores])


def triangles(
    grid: Grid,
    known: Measured,
    *,
    tension: float | None = None,
    progress: Callable[[float], None] | None = None,
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
    scale = scale_of(grid, known)
    shore = scale.shore
    row, column = np.nonzero(shore.water)
    x = grid.west_m + (column + 0.5) * grid.cell_x_m - centre[0]
    y = grid.north_m - (row + 0.5) * grid.cell_y_m - centre[1]
    u = np.zeros(shore.water.shape, dtype=np.float32)
    u[row, column] = interpolate(np.column_stack([x, y]))
    if progress is not None:
        progress(1.0)
    return finish(u, shore, _without_data(scale), grid, known.lines[: known.shores])


METHODS = {"minimum-curvature": minimum_curvature, "triangles": triangles}
