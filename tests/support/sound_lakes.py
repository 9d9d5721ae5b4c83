"""Forty sound lakes made in various ways, and bottoms with a planted mistake; true depth known by construction."""

from __future__ import annotations

import functools

import geopandas as gpd
import numpy as np
import pyproj
import shapely

from castshed.toolbox.depth import DepthSurface

CRS = pyproj.CRS.from_epsg(32615)
X0, Y0 = 500_000.0, 4_000_000.0
WAYS = (
    "plain", "steep", "shallow", "clipped", "clipped coarse", "clipped steep", "walled", "high pool", "low pool",
    "cliffs", "partial", "shore off", "coarse", "deep", "humps", "land flat", "clipped partial", "clipped cliffs",
    "quarry", "narrow",
)  # fmt: skip


def ragged(rng, size_m, narrow=False):
    angle = np.linspace(0, 2 * np.pi, 160, endpoint=False)
    wave = sum(rng.uniform(-0.5, 0.5) / k * np.cos(k * angle + rng.uniform(0, 6.3)) for k in range(2, 9))
    radius = size_m * np.clip(1.0 + 0.5 * wave, 0.25, None)
    return shapely.Polygon(
        np.column_stack([X0 + radius * np.cos(angle), Y0 + radius * np.sin(angle) * (0.2 if narrow else 1.0)])
    ).buffer(0)


def away(shore, x, y):
    """Distance from the shoreline, positive inside."""
    shapely.prepare(shore)
    off = shapely.distance(shapely.points(x, y), shore.boundary)
    return np.where(shapely.contains_xy(shore, x, y), off, -off)


@functools.cache
def sound_lake(way, seed):
    """A depth surface with its shoreline: depth below chart datum as somebody may honestly have made it."""
    rng = np.random.default_rng([WAYS.index(way), seed])
    coarse = way in ("coarse", "clipped coarse")
    cell = float(rng.choice([30.0, 40.0]) if coarse else rng.choice([5.0, 10.0, 20.0]))
    size = rng.uniform(400, 900) if cell < 30 else rng.uniform(900, 1500)
    shore = ragged(rng, size, narrow=way == "narrow")
    shore = max(shapely.get_parts(shore), key=lambda g: g.area)
    west, south, east, north = shore.buffer(6 * cell).bounds
    xs = np.arange(west, east, cell) + cell / 2
    ys = np.arange(north, south, -cell) - cell / 2
    x, y = np.meshgrid(xs, ys)
    off = away(shore, x, y)
    slope = {"steep": 1.2, "clipped steep": 1.2, "shallow": 0.004, "deep": 0.9}.get(
        way, rng.uniform(0.03, 0.4)
    )
    most = {"shallow": 2.0, "deep": 400.0}.get(way, rng.uniform(8, 60))
    depth = np.where(off > 0, most * (1 - np.exp(-slope * off / most)), off * min(slope, 0.4))
    if "cliffs" in way:  # two thirds of the shore fall sheer
        sheer = np.cos(np.arctan2(y - Y0, x - X0) - rng.uniform(0, 6.3)) > -0.5
        depth = np.where(sheer & (off > 0), depth + 15.0, np.where(sheer, depth - 20.0, depth))
    if way == "quarry":  # sheer all round, the quarry's rim known
        depth = np.where(off > 0, 22.0 + 0.01 * off, -12.0)
    if way == "humps":
        for _ in range(12):
            hx, hy = X0 + rng.uniform(-size, size), Y0 + rng.uniform(-size, size)
            depth = depth - rng.uniform(1, 0.8 * most) * np.exp(
                -((x - hx) ** 2 + (y - hy) ** 2) / (2 * 40.0**2)
            ) * (off > 0)
    if way == "high pool":
        depth = depth + 2.0
    if way == "low pool":
        depth = depth - 2.0
    if way == "walled":
        depth = np.where(off > 0, depth, -float(rng.choice([5, 100, 500, 999])))
    if way == "land flat":
        depth = np.where(off > 0, depth, -float(rng.choice([0.0, 0.5, 1.0])))
    if "clipped" in way:
        depth = np.where(off > 0, depth, np.nan)
    if "partial" in way:
        depth = np.where(x < X0 + 0.2 * size, depth, np.nan)
    depth = depth + rng.normal(0, 0.05, depth.shape)
    surface = DepthSurface(depth.astype("f4"), west, north, cell, cell, CRS)
    if way == "shore off":
        shore = shapely.affinity.translate(shore, rng.uniform(-25, 25), rng.uniform(-25, 25))
    return surface, gpd.GeoDataFrame({"name": ["made"]}, geometry=[shore], crs=CRS)


def sound_lakes():
    return [(way, seed) for way in WAYS for seed in (1, 2)]
