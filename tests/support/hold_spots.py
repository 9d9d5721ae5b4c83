"""Spots made by chance on a given lake: half in thin water, some in crowds, some on land."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

KINDS = ("brush", "hump", "ledge", "rock_pile", "standing_timber", "other")


def some_spots(lake, points: int, lines: int, polygons: int, seed: int) -> gpd.GeoDataFrame:
    """Points, lines and polygons in a mixed order."""
    rng = np.random.default_rng(seed)
    count = points + lines + polygons
    depth = lake.depth_m
    thin, wet, dry = (
        np.flatnonzero(m) for m in ((depth > 0.3) & (depth < 6), depth > 0, (depth < -1) & (depth > -15))
    )
    cell = np.concatenate([rng.choice(a, n) for a, n in ((thin, count // 2), (wet, count // 3), (dry, 10))])
    cell = np.concatenate([cell, rng.choice(cell[: count // 2], count - len(cell))])  # neighbours
    rows, columns = np.unravel_index(rng.permutation(cell), depth.shape)
    xy = np.column_stack([lake.xs[columns], lake.ys[rows]]) + rng.normal(0, 9, (count, 2))
    turn, length = rng.random(count) * 2 * np.pi, rng.uniform(15, 220, count)
    step = np.column_stack([np.cos(turn), np.sin(turn)]) * length[:, None]
    bend = step / 2 + rng.normal(0, 12, (count, 2))
    drawn = shapely.linestrings(np.stack([xy, xy + bend, xy + step], axis=1))
    which = rng.permutation(np.repeat([0, 1, 2], [points, lines, polygons]))
    shapes = np.where(which == 0, shapely.points(xy), drawn)
    wide = which == 2
    shapes[wide] = shapely.buffer(drawn[wide], rng.uniform(3, 25, wide.sum()))
    kinds = rng.choice(KINDS, count, p=[0.25, 0.2, 0.2, 0.2, 0.03, 0.12])
    return gpd.GeoDataFrame(
        {
            "spot_id": [f"s{k}" for k in range(count)],
            "kind": kinds,
            "height_m": rng.choice([np.nan, 0.0, 0.6, 2.0, 5.0], count),
            "position_error_m": rng.choice([np.nan, 2.0, 8.0], count),
        },
        geometry=shapes,
        crs=lake.crs,
    )


def some_hazards(spots, seed: int) -> gpd.GeoDataFrame:
    """Known hazards near every third spot."""
    rng = np.random.default_rng(seed)
    near = shapely.get_coordinates(shapely.point_on_surface(spots.geometry.to_numpy())[::3])
    centres = shapely.points(near + rng.normal(0, 15, near.shape))
    return gpd.GeoDataFrame({"radius_m": rng.uniform(0, 9, len(near))}, geometry=centres, crs=spots.crs)
