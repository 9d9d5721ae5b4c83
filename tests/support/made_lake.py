"""A small made lake that many tests share: a square basin with an island, a ramp, a hump and a shoal."""

from __future__ import annotations

from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pyproj
import shapely

from castshed.toolbox.depth import DepthSurface
from long_tests import (  # noqa: F401  # hooks of pytest
    pytest_collection_modifyitems,
    pytest_deselected,
    pytest_report_header,
    pytest_sessionfinish,
    pytest_terminal_summary,
    pytest_testnodedown,
    pytest_xdist_auto_num_workers,
)
from made_once import _chain_once, chain_made, planned_demo_day  # noqa: F401  # fixtures

CRS = pyproj.CRS.from_epsg(32615)


X0, Y0 = 500_000.0, 4_000_000.0


def frame(geometry, crs=CRS, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(geometry), crs=crs)


def make_lake(cell: float = 5.0) -> SimpleNamespace:
    """1,000 m square of water; depth grows 1:20 off the shore to 10 m, an island, a hump and a shoal."""
    n = int(1100 / cell)
    xs = X0 - 50 + (np.arange(n) + 0.5) * cell
    ys = Y0 + 1050 - (np.arange(n) + 0.5) * cell
    x, y = np.meshgrid(xs - X0, ys - Y0)
    off = np.minimum.reduce([x, 1000 - x, y, 1000 - y])
    depth = np.clip(off / 20.0, -2.0, 10.0)
    island = np.hypot(x - 650, y - 650) - 60
    depth = np.minimum(depth, np.clip(island / 8.0, -2.0, 10.0))
    hump = 7.0 * np.exp(-((x - 300) ** 2 + (y - 320) ** 2) / (2 * 25.0**2))
    shoal = 9.6 * np.exp(-((x - 400) ** 2 + (y - 700) ** 2) / (2 * 30.0**2))
    depth = depth - hump - shoal
    surface = DepthSurface(depth.astype("f4"), X0 - 50, Y0 + 1050, cell, cell, CRS, 0.1)
    ring = shapely.box(X0, Y0, X0 + 1000, Y0 + 1000)
    hole = shapely.Point(X0 + 650, Y0 + 650).buffer(60, quad_segs=32)
    spots = frame(
        [
            shapely.Point(X0 + 300, Y0 + 320),
            shapely.Point(X0 + 100, Y0 + 500),
            shapely.Point(X0 + 800, Y0 + 90),
            shapely.LineString([(X0 + 140, Y0 + 850), (X0 + 260, Y0 + 850)]),
            shapely.Point(X0 + 650, Y0 + 650),
        ],
        spot_id=["hump", "west", "south", "ledge", "island"],
        name=["Hump", "West bank", "South bank", "Ledge", "On the island"],
        kind=["hump", "brush", "rock_pile", "ledge", "stumps"],
        depth_m=[3.0, 5.0, 4.5, 7.0, np.nan],
        height_m=[0.0, 1.2, 0.5, 0.0, 1.0],
        rating=[5.0, 4.0, 3.0, 4.0, 1.0],
        position_error_m=[3.0] * 5,
    )
    return SimpleNamespace(
        crs=CRS,
        depth=surface,
        shoreline=frame([shapely.Polygon(ring.exterior, [hole.exterior])], name=["made"]),
        spots=spots,
        ramps=frame(
            [shapely.Point(X0 + 500, Y0 + 45)], ramp_id=["r1"], name=["South ramp"], min_level_m=[-3.0]
        ),
        zones=frame(
            [
                shapely.box(X0 + 450, Y0, X0 + 550, Y0 + 120),
                shapely.box(X0 + 850, Y0 + 850, X0 + 1000, Y0 + 1000),
            ],
            zone=["slow", "no_entry"],
            speed_mps=[2.2, np.nan],
            reason=["ramp", "dam"],
        ),
        known_hazards=frame(
            [shapely.Point(X0 + 520, Y0 + 500)], kind=["stump"], top_depth_m=[0.5], radius_m=[10.0]
        ),
    )
