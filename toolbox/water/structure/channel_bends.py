"""Channel bends: where an old stream bed cut into the bottom turns."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.ndimage import median_filter

from ...report import note
from ..landform.drainage import drained, stems
from ..landform.polyline import ahead, bridged, evenly, smoothed, spells
from ..landform.terrain import blurred, coarsened
from .finding_table import findings, require_lengths

if TYPE_CHECKING:
    import geopandas as gpd

    from ...arrays import Floats, Indices
    from ...depth import DepthSurface

_CELL_M = 5.0  # a channel is wide; finer cells are averaged to about this
_SMOOTH_M = 6.0  # of the depths the drainage is taken from
_GATHER_M2 = 10_000.0  # a stem is followed up to where it gathers this much
_STEP_M = 5.0
_CENTRE_M = 30.0  # the middle of the bed is looked for this far to each side of the way of the drainage
_WIGGLE_M = 15.0  # wiggles of the way shorter than this come from the cells
_SIDES = ((0.5, 0.85), (1.0, 1.7))  # where the banks of a bed are read, in widths: two scales
_LONE_M = 50.0  # a cut that is only met over less than this is a hole
_GAP_M = 80.0  # a bed silted up, or with a hollow beside it, over less than this goes on
_RADIUS_M = 250.0  # a bed that turns with more than this radius runs straight


def _depth_across(surface: DepthSurface, points: Floats, offsets: Floats) -> Floats:
    way = ahead(points)
    right = np.column_stack([way[:, 1], -way[:, 0]])
    at = points[:, None, :] + offsets[None, :, None] * right[:, None, :]
    return surface.at(at[..., 0], at[..., 1])


def _centred(surface: DepthSurface, points: Floats, step_m: float) -> Floats:
    """Move a way to the middle of what is deep across it."""
    offsets = np.arange(-_CENTRE_M, _CENTRE_M + 1e-9, _STEP_M)
    depth = _depth_across(surface, points, offsets)
    with np.errstate(invalid="ignore"):
        deep = np.maximum(depth - np.nan_to_num(depth).mean(axis=1, keepdims=True), 0.0)
    deep = np.where(np.isfinite(depth).all(axis=1, keepdims=True), deep, 0.0)
    total = deep.sum(axis=1)
    off = np.where(total > 0, (deep * offsets).sum(axis=1) / np.maximum(total, 1e-9), 0.0)
    reach = int(_WIGGLE_M / step_m)
    way = ahead(points)
    moved = points + smoothed(off[:, None], reach) * np.column_stack([way[:, 1], -way[:, 0]])
    return smoothed(smoothed(moved, reach), reach)


def _cut(surface: DepthSurface, points: Floats, width_m: float, step_m: float) -> Floats:
    """How much deeper the bed is than its two banks would be, carried on over it in a straight line."""
    best = np.full(len(points), -np.inf)
    for near, far in _SIDES:
        a, b = near * width_m, far * width_m
        depth = _depth_across(surface, points, np.array([-b, -a, 0.0, a, b]))
        near_by, far_by = depth[:, (1, 3)], depth[:, (0, 4)]
        carried = np.maximum(near_by + (near_by - far_by) * a / (b - a), near_by)
        # Land is a wall and is not carried on: a channel may swing to the bank. With land on both sides it is the
        # whole valley that winds.
        rim = np.where(near_by > 0, carried, near_by)
        cut = depth[:, 2] - rim.max(axis=1)  # the deeper bank decides: a bed has two
        best = np.where((near_by > 0).any(axis=1), np.fmax(best, cut), best)
    size = min(2 * int(_LONE_M / step_m / 2) + 1, (len(best) - 1) | 1)
    return np.asarray(median_filter(best, size=size, mode="nearest"))


def _turning(points: Floats, step_m: float) -> Floats:
    """Radians turned at each point, counter-clockwise above zero; what the wiggles turn is smoothed away."""
    way = ahead(points)
    heading = np.unwrap(np.arctan2(way[:, 1], way[:, 0]))
    turn = np.gradient(smoothed(heading[:, None], int(_WIGGLE_M / step_m))[:, 0])
    return np.asarray(turn)


def _bends(points: Floats, step_m: float, least_rad: float, room_m: float) -> list[tuple[Indices, float]]:
    """Give the stretches of a bed that turn one way by enough, and by how much each turns.

    Their middle lies by some room from the ends of the bed: where a stem comes out into another it turns too.
    """
    turn = _turning(points, step_m)
    found = []
    for way in (1.0, -1.0):
        for spell in spells(way * turn > step_m / _RADIUS_M):
            turned = float(np.abs(turn[spell].sum()))
            middle = spell[len(spell) // 2] * step_m
            room = min(middle, (len(points) - 1) * step_m - middle)
            if turned >= least_rad and len(spell) > 2 and room >= room_m:
                found.append((spell, turned))
    return found


def _wall_deg(soft: DepthSurface, points: Floats, width_m: float) -> float:
    """Slope of the steeper wall of a bed, from its mean profile."""
    offsets = np.arange(-width_m / 2, width_m / 2 + 1e-9, _STEP_M)
    depth = _depth_across(soft, points, offsets)
    profile = np.where(np.isfinite(depth).all(axis=0), depth.mean(axis=0), np.nan)
    steep = np.abs(np.diff(profile)) / _STEP_M
    return float(np.degrees(np.arctan(np.nanmax(steep)))) if np.isfinite(steep).any() else 0.0


def _kept(lines: list[shapely.LineString], strength: Floats) -> list[int]:
    """Choose, clearest first, the bends that do not run along one chosen before: two stems may share a wide bed."""
    order = np.argsort(-strength, kind="stable")
    tree = shapely.STRtree(lines)
    chosen: set[int] = set()
    for k in order.tolist():
        near = [
            j for j in tree.query(lines[k], predicate="dwithin", distance=_CENTRE_M).tolist() if j in chosen
        ]
        rest = lines[k]
        for j in near:
            rest = shapely.difference(rest, shapely.buffer(lines[j], _CENTRE_M))
        if shapely.length(rest) > 0.5 * shapely.length(lines[k]):
            chosen.add(k)
    return sorted(chosen)


def find_channel_bends(
    surface: DepthSurface,
    *,
    turn_deg: float = 42.0,
    cut_m: float = 0.9,
    width_m: float = 90.0,
) -> gpd.GeoDataFrame:
    """Find the bends of drowned channels.

    Parameters
    ----------
    surface
        Today's depth.
    turn_deg
        How far the channel has to turn one way.
    cut_m
        How much deeper its bed has to be than its banks would be without it.
    width_m
        Greatest width of the bed, rim to rim; beds up to twice as wide are found where they are cut as clearly.

    Returns
    -------
    A LineString along the middle of the bed through each bend, the clearest first. `base_m` is the middle depth of
    the bed, `top_m` that of the rim (base less the cut), `slope_deg` that of the steeper wall; there is no deeper
    side to a bed, so `deep_bearing_deg` is NaN. `strength` is the lesser of turn over `turn_deg` and cut over
    `cut_m`.

    Notes
    -----
    The bottom drained to the deepest cell of each water (see drainage.py) gives the stems; where one runs in a bed
    that is cut into its banks, its heading is followed, and a stretch that turns one way with a radius under 250 m is
    a bend. What makes the result wrong: silt that fills a bed, contours so far apart that a bed becomes a row of
    hollows, and cells too wide to hold it (over a quarter of `width_m` nothing is looked for, with a warning).
    """
    require_lengths(turn_deg=turn_deg, cut_m=cut_m, width_m=width_m)
    cell = max(surface.cell_x_m, surface.cell_y_m)
    if cell > width_m / 4:
        note(
            f"Channel bends were not looked for: cells of {cell:g} m cannot show a bed {width_m:g} m wide. Make the "
            f"depths on cells of {width_m / 4:g} m or less.",
            stacklevel=2,
        )
        return findings("channel_bend", [], surface.crs, {})
    coarse = coarsened(surface, _CELL_M)
    depth = blurred(coarse.depth_m, _SMOOTH_M, coarse.cell_x_m, coarse.cell_y_m)
    soft = coarse.with_depth(depth)
    down, order, cells = drained(depth, depth > 0)
    lines: list[shapely.LineString] = []
    rows: list[tuple[float, float, float, float]] = []
    least = max(int(_GATHER_M2 / (coarse.cell_x_m * coarse.cell_y_m)), 2)
    for stem in stems(down, order, cells, least_cells=least):
        if len(stem) * cell < width_m / 2:
            continue
        r, c = np.divmod(stem, coarse.shape[1])
        points, step = evenly(np.column_stack([coarse.xs[c], coarse.ys[r]]), _STEP_M)
        points = _centred(soft, smoothed(points, int(_WIGGLE_M / step)), step)
        cut = _cut(soft, points, width_m, step)
        for bed in spells(bridged(cut >= cut_m, int(_GAP_M / step))):
            if (len(bed) - 1) * step < width_m:
                continue
            for bend, turned in _bends(points[bed], step, np.radians(turn_deg), width_m / 2):
                along = points[bed[bend]]
                lines.append(shapely.LineString(along))
                deep = float(np.nanmedian(soft.at(along[:, 0], along[:, 1])))
                rows.append((deep, float(np.median(cut[bed[bend]])), turned, _wall_deg(soft, along, width_m)))
    base, cuts, turns, walls = np.array(rows, dtype=np.float64).reshape(-1, 4).T
    strength = np.minimum(np.degrees(turns) / turn_deg, cuts / cut_m)
    kept = _kept(lines, strength)
    return findings(
        "channel_bend",
        [lines[k] for k in kept],
        surface.crs,
        {
            "top_m": (base - cuts)[kept],
            "base_m": base[kept],
            "relief_m": cuts[kept],
            "slope_deg": walls[kept],
            "length_m": [lines[k].length for k in kept],
            "strength": strength[kept],
        },
    )
