"""Surfaces that the tests of all bottom forms share: exact shapes by formula, and what no finder may trip over."""

from __future__ import annotations

import numpy as np
import pyproj

from castshed.toolbox.depth import DepthSurface

CRS = pyproj.CRS.from_epsg(32615)
WEST, NORTH = 500_000.0, 4_000_000.0
COLUMNS = [
    "kind",
    "top_m",
    "base_m",
    "relief_m",
    "slope_deg",
    "length_m",
    "area_m2",
    "deep_bearing_deg",
    "strength",
    "geometry",
]


def made(depth_of, *, width=500.0, height=400.0, cell=(2.5, 2.5)):
    """A surface of depth_of(x, y), x metres east of its west edge and y metres north of its south edge."""
    columns, rows = round(width / cell[0]), round(height / cell[1])
    x = (np.arange(columns) + 0.5) * cell[0]
    y = height - (np.arange(rows) + 0.5) * cell[1]
    depth = np.broadcast_to(depth_of(*np.meshgrid(x, y)), (rows, columns))
    return DepthSurface(depth.astype("f4"), WEST, NORTH, *cell, CRS, 0.1)


def local(geometry, height=400.0):
    """Coordinates of a shape counted from the southwest corner of a made surface."""
    import shapely

    return shapely.get_coordinates(geometry) - (WEST, NORTH - height)


def hostile():
    """Grids that hold nothing to find, by name."""
    flat = np.full((40, 50), 5.0)
    holes = flat.copy()
    holes[::3, ::4] = np.nan
    grids = {
        "all unknown": np.full((30, 30), np.nan),
        "all land": np.full((30, 30), -2.0),
        "all zero": np.zeros((30, 30)),
        "one cell": np.array([[4.0]]),
        "one unknown cell": np.array([[np.nan]]),
        "one row": np.linspace(0, 20, 60)[None, :],
        "one column": np.linspace(0, 20, 60)[:, None],
        "two by two": np.array([[1.0, 2.0], [3.0, 4.0]]),
        "lone known cells": np.where(np.arange(900).reshape(30, 30) % 7 == 0, 5.0, np.nan),
        "holes": holes,
        "chequered": np.where(np.indices((30, 30)).sum(0) % 2 == 0, 5.0, -5.0),
    }
    return {name: DepthSurface(grid, WEST, NORTH, 2.5, 2.5, CRS) for name, grid in grids.items()}


HOSTILE = hostile()


def check_table(found, surface, kind, shape):
    """Hold a finder's table to what all tables promise."""
    assert list(found.columns) == COLUMNS
    assert found.crs == surface.crs
    assert (found["kind"] == kind).all()
    assert set(found.geom_type) <= {shape}
    assert found.is_valid.all()
    assert not found.is_empty.any()
    numbers = found[["top_m", "base_m", "relief_m", "slope_deg", "length_m", "strength"]]
    assert np.isfinite(numbers.to_numpy(float)).all()
    assert (found["strength"] >= 1).all()
    assert found["strength"].is_monotonic_decreasing
    assert np.allclose(found["base_m"] - found["top_m"], found["relief_m"])
    bearing = found["deep_bearing_deg"].dropna()
    assert ((bearing >= 0) & (bearing < 360)).all()
