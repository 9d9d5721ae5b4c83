"""Humps: rises of the bottom that close, with deeper water all round.

The crown of a hump: how far its top reaches before the bottom breaks away.

A hump is often marked by one point, its top. When the top is wider than a cast, a boat a cast away from the mark
would still sit on the hump; it has to be placed off the edge instead.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from ..landform.merge_tree import closed_rises, rise_cells
from ..landform.terrain import blurred
from .finding_table import bearing_deg, findings, require_lengths

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd
    from numpy.typing import NDArray

    from ...arrays import Floats, Geometries, Ints
    from ...depth import DepthSurface

SMOOTH_M = 3.5
"""The bottom is smoothed over this before it is flooded: single soundings are no tops."""

LEAST_CELLS = 4
"""Fewer cells than these show no form, however wide they are."""

_CROWN = 0.3  # the place of a hump is the middle of what stands within this share of its relief below the top
_LEAN = 0.1  # a hump has a deep side where the ground round it falls by more than this share of its relief


def _length(x: NDArray[np.floating], y: NDArray[np.floating]) -> float:
    """Longest extent of the ellipse that is spread like these places."""
    if len(x) < 2:
        return 0.0
    return float(4.0 * np.sqrt(max(np.linalg.eigvalsh(np.cov(x, y, bias=True))[1], 0.0)))


def _measured(
    raw: NDArray[np.float32],
    smooth: DepthSurface,
    top: Ints,
    own_m: Floats,
    apart_m: float,
) -> dict[str, Floats]:
    """Place and least depth of the crown, mean slope, longest extent and area of each rise.

    Between two rises lies a cut deeper than `apart_m` under the top; a crown of less is that of one rise alone.
    """
    depth, columns = smooth.depth_m, smooth.shape[1]
    flat = depth.ravel()
    cell_x, cell_y = smooth.cell_x_m, smooth.cell_y_m
    found = np.empty((len(top), 6))
    for k, (cell, own) in enumerate(zip(top, own_m, strict=True)):
        level = float(flat[cell]) + min(_CROWN * (float(own) - float(flat[cell])), 0.75 * apart_m)
        crown = rise_cells(depth, int(cell), level)
        weight = np.maximum(level - flat[crown].astype(np.float64), 0.0) + 1e-9
        found[k, 0] = np.average(crown % columns, weights=weight)
        found[k, 1] = np.average(crown // columns, weights=weight)
        found[k, 5] = np.nanmin(raw.ravel()[crown])
        whole = rise_cells(depth, int(cell), float(own))
        r, c = whole // columns, whole % columns
        east = flat[r * columns + np.minimum(c + 1, columns - 1)] - flat[r * columns + np.maximum(c - 1, 0)]
        south = (
            flat[np.minimum(r + 1, smooth.shape[0] - 1) * columns + c]
            - flat[np.maximum(r - 1, 0) * columns + c]
        )
        steep = np.hypot(east / (2 * cell_x), south / (2 * cell_y))
        found[k, 2] = np.nanmean(steep) if np.isfinite(steep).any() else np.nan
        found[k, 3] = _length(c * cell_x, r * cell_y)
        found[k, 4] = len(whole) * cell_x * cell_y
    return {
        "x": smooth.west_m + (found[:, 0] + 0.5) * cell_x,
        "y": smooth.north_m - (found[:, 1] + 0.5) * cell_y,
        "top_m": found[:, 5],
        "slope_deg": np.degrees(np.arctan(found[:, 2])),
        "length_m": found[:, 3],
        "area_m2": found[:, 4],
    }


def _deep_sides(smooth: DepthSurface, x: Floats, y: Floats, reach: Floats) -> tuple[Floats, Floats]:
    """Direction in which the ground on a ring round each place is deepest (first harmonic), east and north."""
    turn = np.linspace(0.0, 2 * np.pi, 32, endpoint=False)
    ring = smooth.at(x[:, None] + reach[:, None] * np.cos(turn), y[:, None] + reach[:, None] * np.sin(turn))
    known = np.isfinite(ring)
    mean = np.nansum(ring, axis=1) / np.maximum(known.sum(axis=1), 1)
    off = np.where(known, ring - mean[:, None], 0.0)
    return 2 * (off * np.cos(turn)).mean(axis=1), 2 * (off * np.sin(turn)).mean(axis=1)


def find_humps(surface: DepthSurface, *, relief_m: float = 0.75, area_m2: float = 150.0) -> gpd.GeoDataFrame:
    """Find humps.

    Parameters
    ----------
    surface
        Today's depths.
    relief_m
        A hump stands at least so high above the depth at which it closes: above its col to the next higher ground.
    area_m2
        It covers at least so much at that depth, with what lower humps it has joined by then.

    Returns
    -------
    One point a hump, at its crown. `top_m` is its least depth, `base_m` the depth at which it closes. `length_m`,
    `area_m2` and the mean slope `slope_deg` are of the ground it has for itself: down to there, or to where a
    lower hump joins it. `deep_bearing_deg` points to where the ground round it is deepest, NaN where it is as deep
    all round.

    Notes
    -----
    Islands are no humps: what stands dry today is shore. A hump that the end of the survey cuts counts only as far as
    it closes within it.

    What makes the result wrong: a hump between two contours that no line shows is not in the surface either; fish,
    brush and weed in the soundings make humps of their own.
    """
    require_lengths(relief_m=relief_m, area_m2=area_m2)
    cell_x, cell_y = surface.cell_x_m, surface.cell_y_m
    smooth = blurred(surface.depth_m, SMOOTH_M, cell_x, cell_y)
    rises, _ = closed_rises(smooth, relief_m, max(int(np.ceil(area_m2 / (cell_x * cell_y))), LEAST_CELLS))
    shape = _measured(surface.depth_m, surface.with_depth(smooth), rises.top, rises.own_m, relief_m)
    x, y, area = shape.pop("x"), shape.pop("y"), shape["area_m2"]
    relief = rises.closes_m - shape["top_m"]
    east, north = _deep_sides(surface.with_depth(smooth), x, y, 1.5 * np.sqrt(area / np.pi))
    level = np.hypot(east, north) < _LEAN * relief
    return findings(
        "hump",
        [shapely.Point(east_m, north_m) for east_m, north_m in zip(x, y, strict=True)],
        surface.crs,
        {
            "base_m": rises.closes_m,
            "relief_m": relief,
            **shape,
            "deep_bearing_deg": [
                np.nan if flat else bearing_deg(e, n) for e, n, flat in zip(east, north, level, strict=True)
            ],
            "strength": np.minimum(relief / relief_m, np.maximum(area / area_m2, 1.0)),
        },
    )


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
