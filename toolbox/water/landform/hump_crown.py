"""The crown of a hump: how far its top reaches before the bottom breaks away.

A hump is often marked by one point, its top. When the top is wider than a cast, a boat a cast away from the mark
would still sit on the hump; it has to be placed off the edge instead.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ...arrays import Floats, Geometries
    from ...depth import DepthSurface


_RAYS = 72
_LEAST_STEP_M = 1.0


def hump_crowns(
    surface: DepthSurface, x: Floats, y: Floats, *, drop_m: float = 0.6, reach_m: float = 120.0
) -> Geometries:
    """Draw round each hump's mark the line at which the bottom has dropped away.

    Parameters
    ----------
    surface
        The lake's depth.
    x, y
        Marks on the humps' tops.
    drop_m
        How much deeper than at the mark the bottom is at the edge of the crown; two feet by default (common
        practice).
    reach_m
        How far from the mark the edge is looked for.

    Returns
    -------
    A polygon for each mark, None where the bottom does not drop on all sides within reach: by this surface
    that is not a hump with a crown.

    Notes
    -----
    The edge is found on 72 rays, between steps of half a cell by straight interpolation; the crown is taken
    to be seen whole from its mark (star-shaped). A surface from wide contours shows a blunter edge than the lake has.
    """
    step = max(min(surface.cell_x_m, surface.cell_y_m) / 2, _LEAST_STEP_M)
    out = np.arange(0.0, reach_m + step, step)
    angle = np.arange(_RAYS) * (2 * np.pi / _RAYS)
    crowns = np.full(len(x), None, dtype=object)
    drop_m = max(drop_m, 1e-3)
    for row in range(len(x)):  # one at a time: humps are few, their rays long
        east, north = np.sin(angle)[:, None], np.cos(angle)[:, None]
        drop = surface.at(x[row] + out * east, y[row] + out * north) - surface.at(x[row], y[row])
        past = drop >= drop_m
        known = ~np.isnan(drop)
        first = past.argmax(axis=1)
        rays = np.arange(_RAYS)
        if not past.any(axis=1).all() or not np.logical_and.accumulate(known, axis=1)[rays, first].all():
            continue
        inner, outer = drop[rays, first - 1], drop[rays, first]
        edge = out[first - 1] + step * (drop_m - inner) / (outer - inner)
        crowns[row] = shapely.Polygon(
            np.column_stack([x[row] + edge * np.sin(angle), y[row] + edge * np.cos(angle)])
        )
    return crowns


def aim_at_edges(
    structures: Geometries, kinds: Sequence[str], surface: DepthSurface, *, wider_than_m: float
) -> Geometries:
    """Put in place of the marks of wide humps their crowns, so that casts aim at the edge.

    Parameters
    ----------
    structures, kinds
        Structures, and the kind of each.
    surface
        The lake's depth.
    wider_than_m
        Distance from mark to edge from which on a hump is wide.

    Returns
    -------
    The structures; points of kind ``hump`` with a crown that reaches farther than given are its polygon.
    """
    result = structures.copy()
    marks = np.flatnonzero(
        (np.asarray(kinds, dtype=object) == "hump") & (shapely.get_type_id(structures) == 0)
    )
    crowns = hump_crowns(surface, shapely.get_x(structures[marks]), shapely.get_y(structures[marks]))
    there = ~shapely.is_missing(crowns)
    reach = shapely.hausdorff_distance(crowns[there], structures[marks[there]])
    wide = reach > wider_than_m
    result[marks[there][wide]] = crowns[there][wide]
    return result
