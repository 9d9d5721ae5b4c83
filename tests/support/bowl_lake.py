"""A lake whose depth is known by construction: a cone under an ellipse, so that contours are scaled shorelines."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from shapely.affinity import scale

CRS = 32615
MIDDLE = (500_000.0, 4_600_000.0)
HALF_M = (400.0, 250.0)
DEEPEST_M = 12.0
FOOT_M = 0.3048  # the international foot, exact (NIST Handbook 44, appendix C)


def water() -> shapely.Polygon:
    circle = shapely.Point(*MIDDLE).buffer(1.0, quad_segs=64)
    return scale(circle, *HALF_M, origin=MIDDLE)


def depth_at(x, y):
    """Depth falls evenly from the shore to the middle."""
    out = np.hypot((np.asarray(x) - MIDDLE[0]) / HALF_M[0], (np.asarray(y) - MIDDLE[1]) / HALF_M[1])
    return DEEPEST_M * (1.0 - out)


def shoreline(crs=CRS) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"NAME": ["Bowl Lake"]}, geometry=[water()], crs=CRS).to_crs(crs)


def contours(step_m=1.0, column="depth_m", unit_m=1.0, crs=CRS, turned=1.0, first=1) -> gpd.GeoDataFrame:
    """Contours at every step, in a column of any unit and sign."""
    depths = np.arange(first, int(DEEPEST_M / step_m)) * step_m
    ring = water().exterior
    lines = [scale(ring, 1 - d / DEEPEST_M, 1 - d / DEEPEST_M, origin=MIDDLE) for d in depths]
    frame = gpd.GeoDataFrame(
        {column: turned * depths / unit_m}, geometry=[shapely.LineString(g.coords) for g in lines], crs=CRS
    )
    return frame.to_crs(crs)


def soundings(count=400, seed=1) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places in the lake, and their depths."""
    rng = np.random.default_rng(seed)
    angle, out = rng.uniform(0, 2 * np.pi, count), np.sqrt(rng.uniform(0, 0.95, count))
    x = MIDDLE[0] + HALF_M[0] * out * np.cos(angle)
    y = MIDDLE[1] + HALF_M[1] * out * np.sin(angle)
    return x, y, depth_at(x, y)


def in_degrees(x, y) -> tuple[np.ndarray, np.ndarray]:
    """Longitude and latitude of places."""
    there = gpd.GeoSeries(gpd.points_from_xy(x, y), crs=CRS).to_crs(4326)
    return there.x.to_numpy(), there.y.to_numpy()


def off_m(surface) -> float:
    """How far a surface is off the truth where it is known, 95th percentile."""
    x, y, depth = soundings(300, seed=9)
    at = gpd.GeoSeries(gpd.points_from_xy(x, y), crs=CRS).to_crs(surface.crs)
    return float(np.nanpercentile(np.abs(surface.at(at.x, at.y) - depth), 95))
