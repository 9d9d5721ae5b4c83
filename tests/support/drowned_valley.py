"""A real valley drowned, with its depth known at every place: what surveys of it hold, and what is true.

The valley's heights (see `valley`) are joined by a cubic spline and drawn in to about half their width, so that one cell
of theirs is 40 by 50 m; the slopes are twice as steep. Odd seeds roughen it by what swells of 20 and 60 m add, which is
made.
"""

from __future__ import annotations

import functools

import contourpy
import geopandas as gpd
import numpy as np
import shapely
from scipy.ndimage import gaussian_filter, label, map_coordinates, spline_filter

from castshed.toolbox.depth import DepthSurface
from valley import CRS, flooded_valley

TRUE_M = 5.0
NATIVE_X_M, NATIVE_Y_M = 40.0, 50.0
WINDOWS = {345.0: (209, 344, 242, 403), 375.0: (40, 344, 197, 403)}
QUICK = {345.0: (255, 330, 300, 395), 375.0: (230, 330, 300, 400)}


class Drowned:
    """A pool in the valley; depths are positive down, land negative."""

    def __init__(self, pool_m: float, seed: int, *, quick: bool = False) -> None:
        self.pool_m, self.seed = pool_m, seed
        top, bottom, left, right = (QUICK if quick else WINDOWS)[pool_m]
        heights = flooded_valley(pool_m).depth_m[top:bottom, left:right].astype(float)
        if quick:
            heights = np.pad(heights, 2, constant_values=-5.0)
        self._spline = spline_filter(heights, 3)
        rows, columns = heights.shape
        # Data are not laid out along the lines of the truth's own cells.
        self.west_m, self.north_m = 500_003.1, 4_000_001.7
        self.rows, self.columns = int(rows * NATIVE_Y_M / TRUE_M), int(columns * NATIVE_X_M / TRUE_M)
        self._relief = None
        if seed % 2:
            rng = np.random.default_rng([seed, 77])
            self._relief = sum(
                height * swell / swell.std()
                for height, swell in (
                    (0.05, gaussian_filter(rng.normal(size=(self.rows, self.columns)), 20.0 / TRUE_M / 3)),
                    (0.25, gaussian_filter(rng.normal(size=(self.rows, self.columns)), 60.0 / TRUE_M / 3)),
                )
            )
        depth = self.grid()
        pools, _ = label(depth > 0)
        self.wet = pools == np.argmax(np.bincount(pools[pools > 0]))
        self.depth_m = depth

    def at(self, x, y):
        """Depth at places."""
        row, column = (self.north_m - y) / NATIVE_Y_M - 0.5, (x - self.west_m) / NATIVE_X_M - 0.5
        found = map_coordinates(self._spline, [row, column], order=3, prefilter=False, mode="nearest")
        if self._relief is not None:
            row, column = (self.north_m - y) / TRUE_M - 0.5, (x - self.west_m) / TRUE_M - 0.5
            found = found + map_coordinates(self._relief, [row, column], order=1, mode="nearest")
        return found

    def grid(self, apart_m: float = TRUE_M):
        """Depths at centres of cells of this size over the whole window."""
        rows, columns = int(self.rows * TRUE_M / apart_m), int(self.columns * TRUE_M / apart_m)
        x = self.west_m + (np.arange(columns) + 0.5) * apart_m
        y = self.north_m - (np.arange(rows) + 0.5) * apart_m
        return np.concatenate([self.at(*np.meshgrid(x, part)) for part in np.array_split(y, 1 + rows // 200)])

    @functools.cached_property
    def _tracer(self):
        x = self.west_m + (np.arange(self.columns) + 0.5) * TRUE_M
        y = self.north_m - (np.arange(self.rows) + 0.5) * TRUE_M
        return contourpy.contour_generator(x, y, self.depth_m, fill_type="OuterOffset")

    @functools.cached_property
    def lake(self):
        """The largest water, islands as holes."""
        polygons, offsets = self._tracer.filled(0.0, 1.0e9)
        parts = [
            shapely.Polygon(p[o[0] : o[1]], [p[a:b] for a, b in zip(o[1:-1], o[2:], strict=True)])
            for p, o in zip(polygons, offsets, strict=True)
        ]
        parts = shapely.get_parts(shapely.make_valid(np.array(parts, dtype=object)))
        parts = shapely.get_parts(parts[shapely.get_dimensions(parts) == 2])
        return max(parts, key=lambda g: g.area)

    def shoreline(self):
        return gpd.GeoDataFrame({"name": ["drowned valley"]}, geometry=[self.lake], crs=CRS)

    def contours(self, step_m: float, *, generalised: bool = False):
        """Contours of the largest water; generalised ones lose loops under 300 m and are simplified by 10 m."""
        lines, depths = [], []
        for number in range(1, int(self.depth_m.max() / step_m) + 1):
            for line in self._tracer.lines(number * step_m):
                if len(line) > 1:
                    lines.append(shapely.LineString(line))
                    depths.append(number * step_m)
        lines, depths = np.array(lines, dtype=object), np.array(depths)
        shapely.prepare(self.lake)
        keep = shapely.intersects(self.lake, lines)
        if generalised:
            keep &= ~(shapely.is_closed(lines) & (shapely.length(lines) < 300.0))
            lines = shapely.simplify(lines, 10.0)
        return _layer(lines[keep], depths[keep])

    def soundings(self, apart_m: float):
        """Soundings on a lattice; by odd seeds off it by up to a fifth, and read to 5 cm."""
        rng = np.random.default_rng([self.seed, int(self.pool_m), int(apart_m)])
        x, y = (
            a.ravel()
            for a in np.meshgrid(
                np.arange(
                    self.west_m + rng.uniform(0, apart_m), self.west_m + self.columns * TRUE_M, apart_m
                ),
                np.arange(self.north_m - self.rows * TRUE_M + rng.uniform(0, apart_m), self.north_m, apart_m),
            )
        )
        off = 0.0
        if self.seed % 2:
            x = x + rng.uniform(-0.2, 0.2, len(x)) * apart_m
            y = y + rng.uniform(-0.2, 0.2, len(y)) * apart_m
            off = rng.normal(0.0, 0.05, len(x))
        depth = self.at(x, y) + off
        keep = shapely.contains_xy(self.lake, x, y) & (depth > 0)
        return _layer(shapely.points(x[keep], y[keep]), depth[keep])

    def raster(self, cell_m: float):
        """Means of cells by the lower pool, depths at their centres by the upper one; land is known."""
        fine = 2.5
        if self.pool_m < 360:
            depth, k = self.grid(fine), int(cell_m / fine)
            rows, columns = depth.shape[0] // k, depth.shape[1] // k
            depth = depth[: rows * k, : columns * k].reshape(rows, k, columns, k).mean(axis=(1, 3))
        else:
            depth = self.grid(cell_m)
        return DepthSurface(depth.astype("f4"), self.west_m, self.north_m, cell_m, cell_m, CRS)

    def places(self, count: int):
        """Places spread over the largest water by chance: x, y, true depth."""
        rng = np.random.default_rng([self.seed, int(self.pool_m), 5])
        row, column = np.nonzero(self.wet)
        pick = rng.integers(0, len(row), count)
        x = self.west_m + (column[pick] + rng.random(count)) * TRUE_M
        y = self.north_m - (row[pick] + rng.random(count)) * TRUE_M
        inside = shapely.contains_xy(self.lake, x, y)
        x, y = x[inside], y[inside]
        return x, y, self.at(x, y)


def _layer(geometry, depth):
    count = len(geometry)
    empty = [""] * count
    return gpd.GeoDataFrame(
        {"depth_m": depth, "source": empty, "surveyed": empty, "time": empty}, geometry=geometry, crs=CRS
    )
