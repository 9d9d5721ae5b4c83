"""How far the map's north is from true north, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pyproj

if TYPE_CHECKING:
    from ..maps.map_window import Bounds


def grid_north_deg(crs: pyproj.CRS, x: float, y: float) -> float:
    """Give the true bearing of grid north at a place, -180 to 180: what is added to a grid bearing to make it true.

    Parameters
    ----------
    crs
        Projected system in metres.
    x, y
        The place in it.
    """
    crs = pyproj.CRS.from_user_input(crs)
    base, earth = crs.geodetic_crs, crs.get_geod()
    assert base is not None  # a projected system has both
    assert earth is not None
    go = pyproj.Transformer.from_crs(crs, base, always_xy=True)
    (west, east), (south, north) = go.transform([x, x], [y, y + 1000.0])
    bearing, _, _ = earth.inv(west, south, east, north)
    return float(bearing)


def north_text(crs: pyproj.CRS, bounds: Bounds) -> str:
    """Say from which north the bearings of a page are counted.

    Parameters
    ----------
    crs
        Projected system in metres.
    bounds
        West, south, east and north of the lake in it.
    """
    off = grid_north_deg(crs, (bounds[0] + bounds[2]) / 2.0, (bounds[1] + bounds[3]) / 2.0)
    if abs(off) < 0.05:
        said = "Bearings are from grid north, here true north within 0.1°"
    else:
        said = f"Bearings are from grid north; for true bearings {'add' if off > 0.0 else 'subtract'} {abs(off):.1f}°"
    return f"{said}; a compass differs by its declination."
