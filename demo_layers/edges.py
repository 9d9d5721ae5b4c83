"""The lake as a chart holds it: depth coverage, shoreline, contours, soundings."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import contourpy
import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy import ndimage

from castshed.demo_layers.bottom import POOL_M

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from castshed.demo_layers.bottom import Bottom
    from castshed.demo_layers.relief import Floats
    from castshed.demo_layers.sheet import Grid

CRS = "EPSG:32615"
WEST_M, SOUTH_M = 556_000.0, 4_436_000.0  # of the local metres' origin
FOOT_M = 0.3048
INTERVAL_M = 5.0 * FOOT_M
LAND_KEPT_M = 4.0  # land is kept up to this height above the pool
BANK_KEPT_M = 90.0  # and this far from the water
LEAST_ISLAND_M2 = 300.0
SOUNDING_NOISE_M = 0.1


class Chart(NamedTuple):
    """Depth below normal pool, row 0 north, NaN where the land was not surveyed."""

    depth_m: Grid
    west_m: float
    north_m: float
    cell_m: float

    def read(self, xy: Floats) -> Floats:
        """Depth at points in the chart's CRS, linear between cell centres; NaN beyond the survey."""
        col = (xy[:, 0] - self.west_m) / self.cell_m - 0.5
        row = (self.north_m - xy[:, 1]) / self.cell_m - 0.5
        return np.asarray(
            ndimage.map_coordinates(self.depth_m, [row, col], order=1, mode="constant", cval=np.nan),
            dtype=np.float64,
        )

    def centres(self, row: NDArray[np.intp], col: NDArray[np.intp]) -> Floats:
        """Give the centres of cells."""
        return np.column_stack(
            [self.west_m + (col + 0.5) * self.cell_m, self.north_m - (row + 0.5) * self.cell_m]
        )

    def axes(self) -> tuple[Floats, Floats]:
        """Give the coordinates of the columns and of the rows."""
        rows, cols = self.depth_m.shape
        return (
            self.west_m + (np.arange(cols) + 0.5) * self.cell_m,
            self.north_m - (np.arange(rows) + 0.5) * self.cell_m,
        )


def to_map(xy: Floats) -> Floats:
    """Move local metres to the CRS of the layers."""
    return np.asarray(xy + np.array([WEST_M, SOUTH_M]))


def make_chart(bottom: Bottom) -> Chart:
    """Round the depths to centimetres, cut the grid to the lake and forget the land far from it."""
    depth = np.asarray(POOL_M - bottom.height_m, dtype=np.float32)
    lake = bottom.lake
    specks, _ = ndimage.label(~lake)
    size = np.bincount(specks.ravel())
    tiny = (size * bottom.sheet.cell_m**2 < LEAST_ISLAND_M2)[specks] & ~lake
    depth[tiny] = 0.35
    lake = lake | tiny
    away = ndimage.distance_transform_edt(~lake) * bottom.sheet.cell_m
    depth[~lake & (depth > -0.12) & (away <= 3 * bottom.sheet.cell_m)] = -0.12
    depth = np.round(depth, 2)
    depth[lake & (depth < 0.01)] = 0.01
    depth[~lake & ((depth > -0.01) | (depth < -LAND_KEPT_M) | (away > BANK_KEPT_M))] = np.nan
    row, col = np.nonzero(lake)
    margin = int(BANK_KEPT_M / bottom.sheet.cell_m) + 2
    r0, c0 = max(0, int(row.min()) - margin), max(0, int(col.min()) - margin)
    r1, c1 = int(row.max()) + margin, int(col.max()) + margin
    cut = depth[r0:r1, c0:c1]
    cell = bottom.sheet.cell_m
    return Chart(
        np.ascontiguousarray(cut[::-1]), WEST_M + c0 * cell, SOUTH_M + (r0 + cut.shape[0]) * cell, cell
    )


def _lines(chart: Chart, level_m: float) -> list[Floats]:
    x, y = chart.axes()
    filled = np.where(np.isnan(chart.depth_m), -LAND_KEPT_M, chart.depth_m)
    return list(contourpy.contour_generator(x, y, filled, name="serial").lines(level_m))


def make_shoreline(chart: Chart) -> gpd.GeoDataFrame:
    """Draw the water's edge at normal pool: one polygon, islands as holes."""
    x, y = chart.axes()
    filled = np.where(np.isnan(chart.depth_m), -LAND_KEPT_M, chart.depth_m)
    generator = contourpy.contour_generator(
        x, y, filled, name="serial", fill_type=contourpy.FillType.OuterOffset
    )
    points, offsets = generator.filled(0.0, 1e4)
    polygons = [
        shapely.Polygon(p[o[0] : o[1]], [p[a:b] for a, b in zip(o[1:-1], o[2:], strict=True)])
        for p, o in zip(points, offsets, strict=True)
    ]
    lake = shapely.make_valid(max(polygons, key=lambda p: p.area).simplify(0.7))
    lake = max(shapely.get_parts(lake), key=lambda p: p.area)
    holes = [h for h in lake.interiors if shapely.Polygon(h).area >= LEAST_ISLAND_M2]
    lake = shapely.Polygon(lake.exterior, holes)
    return gpd.GeoDataFrame({"name": ["Larkmoor Reservoir"]}, geometry=[lake], crs=CRS)


def make_contours(chart: Chart) -> gpd.GeoDataFrame:
    """Draw a contour every five feet of depth."""
    depth, lines = [], []
    for k in range(1, int(np.nanmax(chart.depth_m) / INTERVAL_M) + 1):
        for line in _lines(chart, k * INTERVAL_M):
            drawn = shapely.LineString(line).simplify(0.6)
            if drawn.length >= 40.0:
                depth.append(k * INTERVAL_M)
                lines.append(drawn)
    return gpd.GeoDataFrame({"depth_m": depth}, geometry=lines, crs=CRS)


def make_soundings(
    rng: np.random.Generator, chart: Chart, *, tracks: int = 60, points: int = 75
) -> gpd.GeoDataFrame:
    """Sound the lake along wandering tracks, as from a boat with a recording sounder, a few years back."""
    row, col = np.nonzero(chart.depth_m[::4, ::4] > 1.2)
    xy = chart.centres(row * 4, col * 4)[rng.choice(len(row), tracks, replace=False)]
    heading = rng.uniform(0.0, 2 * np.pi, tracks)
    live = np.ones(tracks, dtype=bool)
    tries = np.deg2rad([0, 20, -20, 45, -45, 75, -75, 110, -110, 150, -150])
    day = rng.choice(pd.date_range("2021-04-20", "2023-10-10", freq="D"), 12, replace=False)
    start = pd.DatetimeIndex(day[rng.integers(0, 12, tracks)]) + pd.to_timedelta(
        rng.integers(7 * 60, 17 * 60, tracks), "min"
    )
    found: list[Floats] = []
    for k in range(points):
        heading = heading + rng.normal(0.0, 0.13, tracks)
        ways = heading[:, None] + tries
        ahead = xy[:, None, :] + 14.0 * np.stack([np.sin(ways), np.cos(ways)], axis=-1)
        deep = chart.read(ahead.reshape(-1, 2)).reshape(ways.shape) > 0.9
        choice = np.argmax(deep, axis=1)
        live = live & deep.any(axis=1)
        each = np.arange(tracks)
        heading = np.where(live, ways[each, choice], heading)
        xy = np.where(live[:, None], ahead[each, choice], xy)
        found.append(np.column_stack([each[live], np.full(live.sum(), k), xy[live]]))
    table = np.vstack(found)
    track, order = table[:, 0].astype(int), table[:, 1].astype(int)
    depth = np.round(chart.read(table[:, 2:]) + rng.normal(0.0, SOUNDING_NOISE_M, len(table)), 2)
    when = (start[track] + pd.to_timedelta(order * 6, "s")).tz_localize("America/Chicago")
    frame = gpd.GeoDataFrame(
        {"depth_m": depth, "time": [t.isoformat() for t in when]},
        geometry=shapely.points(table[:, 2:]),
        crs=CRS,
    )
    place = np.lexsort([order, track])
    return frame.iloc[place].reset_index(drop=True)
