"""Made lake bottoms of swells in a bowl, contoured or sounded, and Delaunay triangles by scipy to compare with."""

from __future__ import annotations

import functools

import contourpy
import numpy as np
import shapely
from scipy.interpolate import LinearNDInterpolator
from scipy.ndimage import gaussian_filter, label, zoom

from castshed.toolbox.water.bottom.barriers import Grid
from castshed.toolbox.water.bottom.surface import Measured

FOOT = 0.3048
STEPS = {"2ft": 2 * FOOT, "5ft": 5 * FOOT, "10ft": 10 * FOOT}
CELL = 2.5


def no_points():
    return np.empty((0, 2)), np.empty(0)


def no_lines():
    return np.empty(0, dtype=object), np.empty(0)


def lake_of(rings):
    """Polygon with holes out of closed rings, by even and odd."""
    area = shapely.Polygon()
    for ring in sorted((shapely.Polygon(r) for r in rings), key=lambda g: -g.area):
        area = shapely.symmetric_difference(area, ring)
    return area


def _swell(rng, cells, width_m):
    """Smooth chance relief of spread 1; wide swells are made on fewer cells and drawn out."""
    fewer = max(1, min(int(width_m / CELL / 8), cells // 320))
    few = -(-cells // fewer)
    relief = gaussian_filter(rng.normal(size=(few, few)), width_m / CELL / fewer, mode="wrap")
    relief = relief if fewer == 1 else zoom(relief, cells / few, order=1)[:cells, :cells]
    return relief / relief.std()


@functools.lru_cache(maxsize=12)
def bottom(seed, cells=320):
    """Swells of several sizes in a bowl; depth grid (row 0 north) of one pool, land -0.05 or less."""
    rng = np.random.default_rng([7, seed])
    y, x = np.mgrid[:cells, :cells]
    depth = 9.0 - 90.0 * np.clip(np.hypot(x - cells / 2, y - cells / 2) / (cells / 2) - 0.6, 0, None)
    for width_m, height_m in ((150, 3.5), (50, 1.6), (18, 0.4), (7, 0.08)):
        depth += height_m * _swell(rng, cells, width_m)
    pools, _ = label(depth > 0)
    return np.where((depth > 0) & (pools != np.argmax(np.bincount(pools[pools > 0]))), -0.05, depth)


def lattice(depth):
    """Cells of a bottom, south-west corner at 0, 0."""
    rows, columns = depth.shape
    return Grid(rows, columns, 0.0, rows * CELL, CELL, CELL)


def tracer(depth, cell_x=CELL, cell_y=CELL):
    rows, columns = depth.shape
    x = (np.arange(columns) + 0.5) * cell_x
    y = rows * cell_y - (np.arange(rows) + 0.5) * cell_y
    return contourpy.contour_generator(x, y, depth)


def _pool_of(lines):
    """Lake of one pool out of its shore, for many rings quicker than `lake_of`."""
    rings = sorted((shapely.Polygon(r) for r in lines.lines(0.0) if len(r) > 3), key=lambda g: -g.area)
    lake = shapely.make_valid(shapely.Polygon(rings[0].exterior, [r.exterior for r in rings[1:]]))
    return max(shapely.get_parts(lake), key=shapely.area)


def contoured(depth, step, cell_x=CELL, cell_y=CELL):
    """Shoreline and contours every `step` metres, traced by contourpy."""
    lines = tracer(depth, cell_x, cell_y)
    lake = lake_of(lines.lines(0.0)) if depth.size < 1e6 else _pool_of(lines)
    found, depths = [], []
    for number in range(1, int(np.nanmax(depth) / step) + 1):
        for line in lines.lines(number * step):
            found.append(shapely.LineString(line))
            depths.append(number * step)
    return Measured.gather(lake, np.array(found, dtype=object), np.array(depths), *no_points())


def sounded(depth, apart_m):
    """Shoreline, and tracks from north to south with a sounding in each cell."""
    rows, columns = depth.shape
    column = np.arange(int(apart_m / CELL / 2), columns, int(apart_m / CELL))
    row, column = (a.ravel() for a in np.meshgrid(np.arange(rows), column, indexing="ij"))
    wet = depth[row, column] > 0
    row, column = row[wet], column[wet]
    xy = np.column_stack([(column + 0.5) * CELL, (rows - row - 0.5) * CELL])
    return Measured.gather(lake_of(tracer(depth).lines(0.0)), *no_lines(), xy, depth[row, column])


def known_of(depth, name):
    """What a survey by that name shows of a bottom: ``tracks40`` or a key of `STEPS`."""
    return sounded(depth, 40.0) if name == "tracks40" else contoured(depth, STEPS[name])


def peer_triangles(known, shape, cell_x=CELL, cell_y=CELL):
    """Delaunay triangles straight from scipy, every vertex of every line and every sounding."""
    points = known.points(1.5 * min(cell_x, cell_y), shore=True)
    y, x = np.mgrid[: shape[0], : shape[1]]
    at = np.column_stack([(x.ravel() + 0.5) * cell_x, (shape[0] - y.ravel() - 0.5) * cell_y])
    return LinearNDInterpolator(points[:, :2], points[:, 2])(at).reshape(shape)


def rmse(found, depth):
    """Root of the mean square of the error over the water; a place without a depth is a fault."""
    error = (found - depth)[depth > 0]
    assert np.isfinite(error).all()
    return float(np.sqrt(np.mean(error**2)))


def spit(width_m, known_left=10.0, known_right=1.0):
    """A deep bay and a shallow one, parted by a spit that leaves a gap in the north."""
    lake = shapely.difference(shapely.box(0, 0, 600, 400), shapely.box(300, -1, 300 + width_m, 330))
    x, y = (a.ravel() for a in np.meshgrid(np.arange(20.0, 600, 40), np.arange(20.0, 400, 40)))
    inside = shapely.contains_xy(lake.buffer(-5), x, y)
    depth = np.where(x < 300, known_left, known_right)
    return lake, Measured.gather(lake, *no_lines(), np.column_stack([x, y])[inside], depth[inside])


def leak(method, width_m, cell_m=5.0):
    """Greatest change of depth behind a spit, as a share of a change of the depths before it."""
    from castshed.toolbox.water.bottom.surface import grid_over

    lake, shallow = spit(width_m)
    _, deep = spit(width_m, known_left=30.0)
    grid = grid_over(lake.bounds, cell_m, cell_m)
    change = np.abs(method(grid, deep) - method(grid, shallow)) / 20.0
    x = grid.west_m + (np.arange(grid.columns) + 0.5) * cell_m
    y = grid.north_m - (np.arange(grid.rows) + 0.5) * cell_m
    return float(np.nanmax(change[np.ix_(y < 200, (x > 300 + width_m) & (x < 400))]))
