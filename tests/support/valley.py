"""A real valley nobody here drew, flooded: the elevation grid that comes with matplotlib.

`jacksboro_fault_dem.npz`: 344 x 403 cells of about 75 x 93 m, 236 to 1076 m. Its traps: `ymin` and `ymax` are swapped,
rows run from north to south, and the pool reaches the grid's edge, which is walled here.
"""

from __future__ import annotations

import functools
import math

import geopandas as gpd
import numpy as np
import pyproj
import shapely
from matplotlib import cbook

from castshed.toolbox.depth import DepthSurface

CRS = pyproj.CRS.from_epsg(32616)
POOL_M = 360.0


@functools.cache
def flooded_valley(pool_m: float = POOL_M) -> DepthSurface:
    """Depth below a pool of 360 m; land is negative. Cells are oblong, in a local metric frame of UTM zone 16."""
    with cbook.get_sample_data("jacksboro_fault_dem.npz") as dem:
        elevation = np.asarray(dem["elevation"], dtype=float)
        west, east = float(dem["xmin"]), float(dem["xmax"])
        south, north = sorted((float(dem["ymin"]), float(dem["ymax"])))
    rows, columns = elevation.shape
    middle = math.radians((south + north) / 2.0)
    cell_x = (east - west) / columns * 111_320.0 * math.cos(middle)
    cell_y = (north - south) / rows * 110_950.0
    depth = pool_m - elevation
    depth[[0, -1], :] = -5.0
    depth[:, [0, -1]] = -5.0
    transformer = pyproj.Transformer.from_crs(4326, CRS, always_xy=True)
    x, y = transformer.transform(west, north)
    return DepthSurface(depth.astype(np.float32), round(x), round(y), cell_x, cell_y, CRS, 0.5)


@functools.cache
def valley_shoreline() -> gpd.GeoDataFrame:
    """The largest water at the pool level, drawn by an independent contour tracer (contourpy, of matplotlib)."""
    import contourpy

    surface = flooded_valley()
    lines = contourpy.contour_generator(
        surface.xs, surface.ys, surface.depth_m.astype(float), fill_type="OuterOffset"
    )
    polygons, offsets = lines.filled(0.0, 1.0e9)
    parts = [
        shapely.Polygon(p[o[0] : o[1]], [p[a:b] for a, b in zip(o[1:-1], o[2:], strict=True)])
        for p, o in zip(polygons, offsets, strict=True)
    ]
    water = max(shapely.make_valid(np.array(parts, dtype=object)), key=lambda g: g.area)
    if water.geom_type != "Polygon":
        water = max(water.geoms, key=lambda g: g.area)
    return gpd.GeoDataFrame({"name": ["flooded valley"]}, geometry=[water], crs=CRS)


def seeded_spots(count: int, seed: int) -> gpd.GeoDataFrame:
    """Spots spread by a rule over the valley's water: some deep, some near the bank, a few on land."""
    rng = np.random.default_rng(seed)
    water = valley_shoreline().geometry.iloc[0]
    west, south, east, north = water.bounds
    points: list[shapely.Point] = []
    while len(points) < count:
        tried = shapely.points(rng.uniform(west, east, 4000), rng.uniform(south, north, 4000))
        off = shapely.distance(tried, water.boundary)
        wet = shapely.contains(water, tried)
        take = (
            (wet & (off < 150.0))
            | (wet & (rng.random(4000) < 0.1))
            | (~wet & (off < 60.0) & (rng.random(4000) < 0.2))
        )
        points += list(tried[take])
    kinds = np.array(["point", "brush", "rock_pile", "hump", "stumps"])
    return gpd.GeoDataFrame(
        {
            "spot_id": [f"v{i:03d}" for i in range(count)],
            "name": [f"Valley {i}" for i in range(count)],
            "kind": kinds[rng.integers(0, len(kinds), count)],
            "depth_m": np.full(count, np.nan),
            "height_m": np.round(rng.uniform(0.0, 1.5, count), 1),
            "rating": rng.integers(1, 6, count).astype(float),
            "position_error_m": np.full(count, 5.0),
        },
        geometry=points[:count],
        crs=CRS,
    )
