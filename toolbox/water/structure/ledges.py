"""Ledges and breaks: lines across which the bottom drops more than on either side."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.ndimage import median_filter

from ...notes import note
from ..landform.coarse_cells import blurred
from ..landform.drops import crests, excess_drop
from ..landform.polyline import evenly, smoothed, spells
from ..landform.profiles import drops_along, to_deep
from ..landform.skeleton import crest_lines
from ..landform.terrain import gradient
from .finding_table import bearing_deg, findings, require_lengths

if TYPE_CHECKING:
    import geopandas as gpd

    from ...arrays import Floats
    from ...depth import DepthSurface

_SMOOTH_M = 3.0  # of the depths compared
_WAY_SMOOTH_M = 4.5  # of the depths that give the way down
_RUNS_M = (8.0, 16.0)  # two scales: a sharp edge and an eased one
_SIDE_M = 15.0  # the sides a drop has to stand out from
_EVEN_M = 10.0  # wiggles of the traced line shorter than this come from the cells

_STEP_M = 3.0  # between the points a line is measured at
_LONE_M = 15.0  # a spell along the line shorter than this does not decide
_BACK = 0.35  # a drop that loses more than this share of itself within 55 m is a hump's, a point's or a channel's side


def _along(
    surface: DepthSurface, points: Floats, drop_m: float, run_m: float, length_m: float
) -> list[tuple[shapely.Geometry, dict[str, float]]]:
    """Measure the drop along a traced line and keep the stretches where it is one."""
    points, step = evenly(points, _STEP_M)
    points = smoothed(points, int(_EVEN_M / step))
    deep = to_deep(surface, points)
    drops = drops_along(surface, points, deep, step)
    drop = drops.base - drops.top
    excess = drop - drops.run * drops.steeper
    with np.errstate(invalid="ignore"):
        good = (excess >= drop_m) & (drops.run <= run_m) & (drops.back <= _BACK * drop)
    good = median_filter(good, size=min(2 * int(_LONE_M / step / 2) + 1, len(good) - 1 | 1), mode="nearest")
    kept: list[tuple[shapely.Geometry, dict[str, float]]] = []
    for spell in spells(good):
        if (len(spell) - 1) * step < length_m:
            continue
        middle = np.nan_to_num(drops.middle[spell])
        middle = smoothed(median_filter(middle, size=5, mode="nearest")[:, None], 3)
        line = shapely.LineString(points[spell] + middle * deep[spell])
        top, base, run = (float(np.nanmedian(part[spell])) for part in (drops.top, drops.base, drops.run))
        east, north = deep[spell].mean(axis=0)
        kept.append(
            (
                line.simplify(0.5),
                {
                    "top_m": top,
                    "base_m": base,
                    "relief_m": base - top,
                    "slope_deg": float(np.degrees(np.arctan2(base - top, run))),
                    "length_m": float(line.length),
                    "deep_bearing_deg": bearing_deg(float(east), float(north)),
                    "strength": float(np.nanmedian(excess[spell])) / drop_m,
                },
            )
        )
    return kept


def find_ledges(
    surface: DepthSurface,
    *,
    drop_m: float = 1.2,
    run_m: float = 18.0,
    length_m: float = 45.0,
) -> gpd.GeoDataFrame:
    """Find ledges, also called breaks.

    Parameters
    ----------
    surface
        Today's depth.
    drop_m
        How much more the bottom has to drop across the line than its sides would over the same distance.
    run_m
        A drop spread over more than this is a slope.
    length_m
        How long the line has to be.

    Returns
    -------
    A LineString along the middle of each drop, the clearest first. `top_m` and `base_m` are the middle depths of
    its upper and lower edge, `slope_deg` the mean slope between them (so relief over its tangent is the run),
    `strength` is the drop beyond that of the sides over `drop_m`.

    Notes
    -----
    The drop across 8 and 16 m down the slope, less what the steeper side drops over as much; its crests are linked to
    lines, and profiles square to each line, averaged along it, give the edges. A drop that is lost again within 55 m
    is the side of a hump, a point, a pocket or a channel and belongs to that; a drop that begins at the bank is the
    bank. What makes the result wrong: contours or tracks too far apart make steps where they lie and hide those
    between; cells over 8 m cannot hold a ledge, and nothing is looked for then, with a warning.
    """
    require_lengths(drop_m=drop_m, run_m=run_m, length_m=length_m)
    cell_x, cell_y = surface.cell_x_m, surface.cell_y_m
    shapes: list[shapely.Geometry] = []
    rows: list[dict[str, float]] = []
    if max(cell_x, cell_y) > _RUNS_M[0]:
        note(
            f"Ledges were not looked for: cells of {max(cell_x, cell_y):g} m cannot show a drop over some 10 m. Make "
            f"the depths on cells of {_RUNS_M[0] / 2:g} m or less.",
            stacklevel=2,
        )
        return findings("ledge", [], surface.crs, {})
    depth = blurred(surface.depth_m, _SMOOTH_M, cell_x, cell_y)
    east, south = gradient(blurred(surface.depth_m, _WAY_SMOOTH_M, cell_x, cell_y), cell_x, cell_y)
    excess = excess_drop(
        depth, east, south, cell_x, cell_y, runs_m=_RUNS_M, side_m=_SIDE_M, steep=0.5 * drop_m / _RUNS_M[-1]
    )
    least = 0.4 * drop_m
    band = excess >= least
    crest = crests(excess, east, south, cell_x, cell_y, least=least)
    for r, c in crest_lines(band, crest, cell_x, cell_y, least_m=0.7 * length_m):
        points = np.column_stack([surface.xs[c], surface.ys[r]])
        for line, drop in _along(surface, points, drop_m, run_m, length_m):
            shapes.append(line)
            rows.append(drop)
    columns = {name: np.array([row[name] for row in rows]) for name in (rows[0] if rows else ())}
    return findings("ledge", shapes, surface.crs, columns)
