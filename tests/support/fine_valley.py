"""The flooded real valley with cells of boat size, its water at a level, and ramps on its shore.

Cells of 75 by 93 m are far longer than a cast. They are refined by interpolation and roughened by 5 cm, which is made
and says nothing of the real bottom.
"""

from __future__ import annotations

import functools

import contourpy
import geopandas as gpd
import numpy as np
import shapely
from scipy.ndimage import zoom

from castshed.toolbox.depth import DepthSurface
from valley import CRS, flooded_valley

ROUGHNESS_M = 0.05


@functools.cache
def fine_valley(cells: int, seed: int) -> DepthSurface:
    """Depth below the pool on about as many cells."""
    coarse = flooded_valley()
    fine = zoom(coarse.depth_m, np.sqrt(cells / coarse.depth_m.size), order=1)
    rough = np.random.default_rng(seed).standard_normal(fine.shape, dtype=np.float32)
    fine = (fine + ROUGHNESS_M * rough).astype("f4")
    rows, columns = coarse.depth_m.shape
    return DepthSurface(
        fine,
        coarse.west_m,
        coarse.north_m,
        coarse.cell_x_m * columns / fine.shape[1],
        coarse.cell_y_m * rows / fine.shape[0],
        CRS,
        coarse.error_m,
    )


@functools.cache
def water_at(level_m: float) -> gpd.GeoDataFrame:
    """Waters of more than a hectare at a level, drawn by an independent contour tracer (contourpy)."""
    surface = flooded_valley()
    traced = contourpy.contour_generator(
        surface.xs, surface.ys, surface.depth_m.astype(float), fill_type="OuterOffset"
    )
    polygons, offsets = traced.filled(-level_m, 1.0e9)
    parts = [
        shapely.Polygon(p[o[0] : o[1]], [p[a:b] for a, b in zip(o[1:-1], o[2:], strict=True)])
        for p, o in zip(polygons, offsets, strict=True)
    ]
    parts = shapely.get_parts(shapely.make_valid(np.array(parts, dtype=object)))
    parts = parts[(shapely.get_dimensions(parts) == 2) & (shapely.area(parts) > 1e4)]
    return gpd.GeoDataFrame({"water_id": [f"w{k}" for k in range(len(parts))]}, geometry=parts, crs=CRS)


def ramps_at(level_m: float, count: int = 5) -> gpd.GeoDataFrame:
    """Ramps along the shore of the largest water."""
    water = water_at(level_m).geometry
    shore = shapely.get_exterior_ring(water.iloc[int(water.area.to_numpy().argmax())])
    at = shapely.line_interpolate_point(shore, np.arange(count) / count, normalized=True)
    return gpd.GeoDataFrame({"ramp_id": [f"r{k}" for k in range(count)]}, geometry=at, crs=CRS)
