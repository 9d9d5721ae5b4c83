"""Planted bottoms as a survey with contours shows them."""

from __future__ import annotations

import contourpy
import numpy as np
import shapely

from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.water.bottom.surface import Measured, grid_over, minimum_curvature

STEP_M = 2 * 0.3048


def from_contours(planted, step_m=STEP_M):
    """Make the bottom anew from its contours, as a survey shows it."""
    surface = planted.surface
    lines = contourpy.contour_generator(surface.xs, surface.ys[::-1], surface.depth_m[::-1])
    found, depths = [], []
    for level in np.arange(1, int(np.nanmax(surface.depth_m) / step_m) + 1) * step_m:
        for line in lines.lines(level):
            found.append(shapely.LineString(line))
            depths.append(level)
    known = Measured.gather(
        planted.contoured, np.array(found, dtype=object), np.array(depths), np.empty((0, 2)), np.empty(0)
    )
    cell_m = surface.cell_x_m
    grid = grid_over(planted.contoured.bounds, cell_m, cell_m)
    depth = minimum_curvature(grid, known)
    return DepthSurface(depth, grid.west_m, grid.north_m, cell_m, cell_m, surface.crs, step_m / 2.0)
