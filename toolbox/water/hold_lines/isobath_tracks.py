"""Isobaths near structures, as tracks for a boat that follows a depth."""

from __future__ import annotations

from typing import TYPE_CHECKING

import contourpy
import numpy as np
import shapely

from .hold_paths import Tracks, smooth_line

if TYPE_CHECKING:
    from ...depth import DepthSurface
    from .hold_paths import Paths


def isobath_tracks(
    paths: Paths, surface: DepthSurface, *, depth_m: float, reach_m: float, smooth_m: float
) -> Tracks:
    """Draw the isobath of a charted depth wherever it passes within reach of a path.

    Parameters
    ----------
    paths
        Paths of structures.
    surface
        Depth below chart datum.
    depth_m
        Depth of the isobath, below chart datum.
    reach_m
        Distance from a path within which isobaths are wanted; they may run on beyond it.
    smooth_m
        Width over which an isobath is smoothed, so that a boat can follow it.

    Returns
    -------
    Tracks, open or closed, each with the path it was drawn for.

    Notes
    -----
    The isobath is drawn between the cell centres by straight interpolation. Smoothing moves it off its depth where it
    bends within a few widths; the depth along a hold line is told with it.
    """
    owner: list[int] = []
    lines: list[shapely.LineString] = []
    bounds = shapely.bounds(paths.line)
    for number in range(len(paths)):  # a window a path, so that memory stays that of the largest structure
        west, south, east, north = bounds[number]
        part = surface.window(west - reach_m, south - reach_m, east + reach_m, north + reach_m)
        if min(part.shape) < 2:
            continue
        depth = np.ma.masked_invalid(part.depth_m.astype(np.float64))
        drawn = contourpy.contour_generator(part.xs, part.ys, depth, name="serial").lines(depth_m)
        found = [shapely.LineString(np.asarray(one)) for one in drawn if one is not None and len(one) > 1]
        for line in found:
            if line.length > 0 and shapely.dwithin(line, paths.line[number], reach_m):
                owner.append(number)
                lines.append(smooth_line(line, smooth_m))
    every = np.empty(len(lines), dtype=object)
    every[:] = lines
    return Tracks(
        path=np.array(owner, dtype=np.intp),
        line=every,
        ring=np.asarray(shapely.is_closed(every), dtype=np.bool_),
        cast_m=np.zeros(len(lines)),
    )
