"""Lakes whose depth is known everywhere, or at soundings kept back: what packages are written of and judged by."""

from __future__ import annotations

import functools
from dataclasses import dataclass, field, replace
from pathlib import Path

import contourpy
import geopandas as gpd
import numpy as np
import pyproj
import shapely

from castshed.toolbox.depth import DepthSurface
from made_bottoms import CELL, bottom
from valley import flooded_valley

FOOT = 0.3048
POOLS_M = (340.0, 360.0, 380.0)
TWIN_POOL_M = 350.0  # at which two waters of the valley are nearly of one size
SEAM = pyproj.CRS.from_epsg(32615)  # zones 15 and 16 meet at 90 degrees west


@dataclass(frozen=True)
class Truth:
    """Depths that hold at places, and how much water there is."""

    x: np.ndarray
    y: np.ndarray
    depth_m: np.ndarray
    area_m2: float
    crs: pyproj.CRS


@dataclass(frozen=True)
class Known:
    """A lake's data as a careful person would hand them in: metres, depth positive down, one metric system."""

    shoreline: gpd.GeoDataFrame
    contours: gpd.GeoDataFrame | None = None
    soundings: gpd.GeoDataFrame | None = None
    raster: DepthSurface | None = None


@dataclass(frozen=True)
class Lake:
    """One lake: its name, its water, how deep it is where, and the coordinates of its county in feet."""

    name: str
    water: shapely.Polygon | shapely.MultiPolygon
    crs: pyproj.CRS
    cell_m: float
    pool_m: float
    feet_crs: object
    truth: Truth
    surface: DepthSurface | None = None
    soundings: gpd.GeoDataFrame = field(default_factory=gpd.GeoDataFrame)
    handed_out: gpd.GeoDataFrame | None = None
    others: tuple[shapely.Polygon, ...] = ()

    @property
    def shoreline(self) -> gpd.GeoDataFrame:
        return gpd.GeoDataFrame({"name": [self.name]}, geometry=[self.water], crs=self.crs)

    def contours(self, depths_m) -> gpd.GeoDataFrame:
        """Contours at depths below the pool, traced by contourpy and cut to this water; rounded to the centimetre."""
        if self.handed_out is not None:
            return self.handed_out.copy()
        surface = self.surface
        tracer = contourpy.contour_generator(surface.xs, surface.ys, surface.depth_m.astype(float))
        rows = [
            (round(float(depth), 6), shapely.LineString(line))
            for depth in depths_m
            for line in tracer.lines(float(depth))
            if len(line) > 3
        ]
        found = gpd.GeoDataFrame(
            {"depth_m": [r[0] for r in rows]}, geometry=[r[1] for r in rows], crs=self.crs
        )
        # At a level that cells hold exactly, a tracer gives rings round one cell's centre of no length.
        found = found[found.length > self.cell_m / 2]
        middle = found.geometry.interpolate(0.37, normalized=True)
        # A contour of depth 0 is the shore itself, so this water and a hair's breadth more.
        near = self.water.buffer(1.0)
        shapely.prepare(near)
        return found[shapely.contains(near, middle.to_numpy())].reset_index(drop=True)

    def areas(self, edges_m) -> gpd.GeoDataFrame:
        """Areas between depths, as charts colour them: depth range from DRVAL1 to DRVAL2."""
        surface = self.surface
        tracer = contourpy.contour_generator(
            surface.xs, surface.ys, surface.depth_m.astype(float), fill_type="OuterOffset"
        )
        rows = []
        near = self.water.buffer(1.0)
        shapely.prepare(near)
        for upper, lower in zip(edges_m[:-1], edges_m[1:], strict=True):
            parts = _filled(*tracer.filled(upper, lower))
            inside = shapely.contains(near, shapely.point_on_surface(parts))
            rows += [(upper, lower, p) for p, own in zip(parts, inside, strict=True) if own]
        return gpd.GeoDataFrame(
            {"DRVAL1": [r[0] for r in rows], "DRVAL2": [r[1] for r in rows]},
            geometry=[r[2] for r in rows], crs=self.crs,
        )  # fmt: skip

    def raster(self, cell_m: float, *, land: bool) -> DepthSurface:
        """Depth on square cells over this water and 600 m round it; land NaN, or negative as the ground rises."""
        west, south, east, north = self.water.buffer(600.0 if land else 3 * cell_m).bounds
        west, north = np.floor(west / cell_m) * cell_m, np.ceil(north / cell_m) * cell_m
        x = west + (np.arange(int((east - west) / cell_m)) + 0.5) * cell_m
        y = north - (np.arange(int((north - south) / cell_m)) + 0.5) * cell_m
        xx, yy = np.meshgrid(x, y)
        depth = self.surface.at(xx.ravel(), yy.ravel()).reshape(xx.shape)
        if not land:
            shapely.prepare(self.water)
            depth = np.where(shapely.contains_xy(self.water, xx, yy), depth, np.nan)
        return DepthSurface(depth.astype(np.float32), west, north, cell_m, cell_m, self.crs, 0.5)


def _filled(points, offsets) -> list[shapely.Polygon]:
    rings = [
        shapely.Polygon(p[o[0] : o[1]], [p[a:b] for a, b in zip(o[1:-1], o[2:], strict=True)])
        for p, o in zip(points, offsets, strict=True)
    ]
    valid = shapely.make_valid(np.array(rings, dtype=object))
    parts = shapely.get_parts(shapely.get_parts(valid))
    return [p for p in parts if p.geom_type == "Polygon" and p.area > 0]


def waters(surface: DepthSurface) -> list[shapely.Polygon]:
    """Waters of a grid of depths, largest first, as an independent tracer draws them."""
    tracer = contourpy.contour_generator(
        surface.xs, surface.ys, surface.depth_m.astype(float), fill_type="OuterOffset"
    )
    return sorted(_filled(*tracer.filled(0.0, 1.0e9)), key=lambda p: -p.area)


def _inside(water, count, rng, off_m):
    within = water.buffer(-off_m)
    shapely.prepare(within)
    west, south, east, north = within.bounds
    x, y = np.empty(0), np.empty(0)
    while len(x) < count:
        tried_x, tried_y = rng.uniform(west, east, 4 * count), rng.uniform(south, north, 4 * count)
        wet = shapely.contains_xy(within, tried_x, tried_y)
        x, y = np.concatenate([x, tried_x[wet]]), np.concatenate([y, tried_y[wet]])
    return x[:count], y[:count]


def _surveyed(name, surface, water, cell_m, pool_m, feet_crs, rng, others=()) -> Lake:
    """A lake of a known bottom: soundings at chance places, truth at others."""
    x, y = _inside(water, 6000, rng, cell_m / 2)
    points = gpd.GeoDataFrame(
        {"depth_m": np.round(surface.at(x, y).astype(float), 2)},
        geometry=gpd.points_from_xy(x, y),
        crs=surface.crs,
    )
    at_x, at_y = _inside(water, 1500, rng, 1.5 * cell_m)
    truth = Truth(at_x, at_y, surface.at(at_x, at_y).astype(float), water.area, surface.crs)
    sounded = points[points.depth_m > 0].reset_index(drop=True)
    return Lake(
        name, water, surface.crs, cell_m, pool_m, feet_crs, truth, surface, sounded, others=tuple(others)
    )


@functools.cache
def valley_lake(pool_m: float, seed: int = 1) -> Lake:
    """The valley flooded to a pool. Its county's coordinates: NAD83 / Tennessee, US survey feet."""
    surface = flooded_valley(pool_m)
    largest, *rest = waters(surface)
    rng = np.random.default_rng([20, int(pool_m), seed])
    return _surveyed("Hollow Water", surface, largest, 60.0, pool_m, "EPSG:2274", rng, rest)


@functools.cache
def seam_lake(seed: int = 1) -> Lake:
    """An invented lake of swells in a bowl, 800 m wide, that lies astride the seam of two UTM zones."""
    depth = bottom(1000 + seed)
    x, y = pyproj.Transformer.from_crs(4326, SEAM, always_xy=True).transform(-90.0, 42.6)
    half = depth.shape[0] * CELL / 2
    surface = DepthSurface(depth.astype(np.float32), round(x - half), round(y + half), CELL, CELL, SEAM, 0.1)
    # NAD83 / Wisconsin South, US survey feet.
    return _surveyed("Twin Zone Pond", surface, waters(surface)[0], 5.0, 201.0, "EPSG:2289", np.random.default_rng([21, seed]))  # fmt: skip


def outside_lake(path: str | Path, seed: int = 1) -> Lake:
    """A real lake's file with layers shoreline, soundings and contours; every fifth sounding is kept back as truth."""
    shore, soundings, contours = (
        gpd.read_file(path, layer=n) for n in ("shoreline", "soundings", "contours")
    )
    # A country's own system may be turned from true north where the lake lies.
    metres = shore.to_crs(4326).estimate_utm_crs()
    shore, soundings, contours = (frame.to_crs(metres) for frame in (shore, soundings, contours))
    water = shore.geometry.union_all()
    wet = soundings[(soundings.depth_m > 0) & soundings.within(water.buffer(-10.0))]
    kept = np.random.default_rng([22, seed]).random(len(wet)) < 0.2
    back = wet[kept]
    truth = Truth(back.geometry.x.to_numpy(), back.geometry.y.to_numpy(), back.depth_m.to_numpy(), water.area, shore.crs)  # fmt: skip
    # Feet of no official system: the file's own, measured in US survey feet.
    feet = pyproj.CRS.from_proj4(
        "+proj=tmerc +lat_0=-38 +lon_0=176.4 +k=0.9999 +x_0=300000 +datum=WGS84 +units=us-ft"
    )
    positive = contours.assign(depth_m=contours.depth_m.abs())
    return Lake(
        "Far Lake", water, shore.crs, 20.0, 315.0, feet, truth, None, wet[~kept][["depth_m", "geometry"]].reset_index(drop=True),
        positive[["depth_m", "geometry"]],
    )  # fmt: skip


def seen(lake: Lake, **data) -> Known:
    """What the careful person hands in of a lake."""
    return replace(Known(lake.shoreline), **data)


def truth_on_lines(contours: gpd.GeoDataFrame, water, truth: Truth, rng, count: int = 1500) -> Truth:
    """Places on contours, whose depth is theirs, of the same water."""
    # Some run ashore by a few metres, where the shoreline is drawn otherwise.
    contours = contours.clip(water.buffer(-10.0)).explode(index_parts=False)
    rows = rng.choice(len(contours), count, p=contours.length / contours.length.sum())
    on = contours.geometry.iloc[rows].interpolate(rng.random(count), normalized=True)
    return replace(truth, x=on.x.to_numpy(), y=on.y.to_numpy(), depth_m=contours.depth_m.to_numpy()[rows])
