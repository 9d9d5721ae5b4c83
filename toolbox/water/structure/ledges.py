"""Ledges and breaks: lines across which the bottom drops more than on either side.

How much more the bottom drops across a short run than its sides do, cell by cell.

Lines through the middle of bands of cells: the longest ways along their crest, branch by branch.
"""

from __future__ import annotations

import heapq
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.ndimage import map_coordinates, median_filter

from ...compiled import compiled
from ...report import note
from ..landform.polyline import drops_along, evenly, smoothed, spells, to_deep
from ..landform.terrain import blurred, gradient
from .finding_table import bearing_deg, findings, require_lengths

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    from ...arrays import Flags, Floats, Indices, Ints
    from ...depth import DepthSurface


def _at(values: NDArray[np.float32], row: Floats, column: Floats) -> Floats:
    """Read a grid between its centres, bilinear; NaN off the grid and beside what is not known."""
    found: Floats = map_coordinates(values, [row, column], np.float64, order=1, cval=np.nan, prefilter=False)
    return found


def excess_drop(
    depth_m: NDArray[np.float32],
    east: NDArray[np.float32],
    south: NDArray[np.float32],
    cell_x_m: float,
    cell_y_m: float,
    *,
    runs_m: tuple[float, ...],
    side_m: float,
    steep: float,
) -> NDArray[np.float32]:
    """Drop across each run along the way down, less what the steeper of the two sides drops over as much.

    Parameters
    ----------
    depth_m
        Depths, positive down.
    east, south
        Their gradient.
    cell_x_m, cell_y_m
        Size of a cell.
    runs_m
        Widths to try; the greatest excess counts.
    side_m
        Length of the sides compared with.
    steep
        Gradient below which a cell is not looked at.

    Returns
    -------
    Excess in metres; 0 where there is none, where the shallow side is land, and where a side is not known.
    """
    slope = np.hypot(east, south)
    r, c = np.nonzero(slope >= steep)
    right, down = east[r, c] / slope[r, c] / cell_x_m, south[r, c] / slope[r, c] / cell_y_m
    best = np.zeros(len(r))
    for run in runs_m:
        above, top, base, below = (
            _at(depth_m, r + off * down, c + off * right)
            for off in (-run / 2.0 - side_m, -run / 2.0, run / 2.0, run / 2.0 + side_m)
        )
        excess = base - top - run * np.maximum(np.maximum(below - base, top - above), 0.0) / side_m
        best = np.fmax(
            best, np.where((above > 0.0) & (top > 0.0), excess, 0.0)
        )  # not above 0: the bank itself
    out = np.zeros(depth_m.shape, dtype=np.float32)
    out[r, c] = best
    return out


def crests(
    value: NDArray[np.float32],
    east: NDArray[np.float32],
    south: NDArray[np.float32],
    cell_x_m: float,
    cell_y_m: float,
    *,
    least: float,
) -> Flags:
    """Cells of at least a value that no neighbour along the gradient exceeds."""
    r, c = np.nonzero(value >= least)
    step = min(cell_x_m, cell_y_m) / np.hypot(east[r, c], south[r, c])
    right, down = step * east[r, c] / cell_x_m, step * south[r, c] / cell_y_m
    ahead, behind = _at(value, r + down, c + right), _at(value, r - down, c - right)
    out = np.zeros(value.shape, dtype=np.bool_)
    out[r, c] = (value[r, c] >= ahead) & (value[r, c] > behind)
    return out


_OFF_CREST = 4.0  # a step off the crest counts as this many along it, so that ways keep to the crest


@compiled
def _spread(
    start: int,
    band: Flags,
    crest: Flags,
    cell_x: float,
    cell_y: float,
    away: Floats,
    parent: NDArray[np.int32],
    order: NDArray[np.int32],
) -> int:
    """Cheapest ways from a cell through its band (Dijkstra 1959); cells in the order reached, and how many."""
    rows, columns = band.shape
    queue = [(0.0, np.int64(start))]
    away[start] = 0.0
    parent[start] = -1
    count = 0
    while len(queue) > 0:
        cost, cell = heapq.heappop(queue)
        if cost > away[cell]:
            continue
        order[count] = cell
        count += 1
        r, c = cell // columns, cell % columns
        for down in range(-1, 2):
            for right in range(-1, 2):
                rr, cc = r + down, c + right
                if (down == 0 and right == 0) or rr < 0 or rr >= rows or cc < 0 or cc >= columns:
                    continue
                if not band[rr, cc]:
                    continue
                step = np.hypot(down * cell_y, right * cell_x)
                reached = cost + (step if crest[rr, cc] else step * _OFF_CREST)
                other = rr * columns + cc
                if reached < away[other]:
                    away[other] = reached
                    parent[other] = cell
                    heapq.heappush(queue, (reached, other))
    return count


@compiled
def _ways(
    band: Flags,
    crest: Flags,
    cell_x: float,
    cell_y: float,
    least: float,
    ways: Ints,
    ends: Ints,
) -> int:
    """Write the ways one after the other to `ways`, where each ends to `ends`; give their number."""
    rows, columns = band.shape
    size = rows * columns
    away = np.full(size, np.inf)
    parent = np.full(size, -1, dtype=np.int32)
    taken = np.zeros(size, dtype=np.bool_)
    order = np.empty(size, dtype=np.int32)
    found, used = 0, 0
    for cell in range(size):
        if not crest[cell // columns, cell % columns] or away[cell] < np.inf:
            continue
        count = _spread(cell, band, crest, cell_x, cell_y, away, parent, order)
        farthest = order[count - 1]
        if away[farthest] == 0.0:
            continue
        for k in range(count):
            away[order[k]] = np.inf
        count = _spread(farthest, band, crest, cell_x, cell_y, away, parent, order)
        # From the farthest cell inward: each way runs down the tree until it meets one that is taken already.
        for k in range(count - 1, -1, -1):
            begin = used
            at = order[k]
            length = 0.0
            while at >= 0 and not taken[at]:
                taken[at] = True
                ways[used] = at
                used += 1
                up = parent[at]
                if up >= 0:
                    length += np.hypot(
                        (up // columns - at // columns) * cell_y, (up % columns - at % columns) * cell_x
                    )
                at = up
            if length < least:
                used = begin
                continue
            ends[found] = used
            found += 1
    return found


def crest_lines(
    band: Flags,
    crest: Flags,
    cell_x_m: float,
    cell_y_m: float,
    *,
    least_m: float,
) -> list[tuple[Indices, Indices]]:
    """Trace lines through bands of cells.

    Parameters
    ----------
    band
        Cells a line may run through.
    crest
        Cells it runs through if it can; they count only where they are in the band.
    cell_x_m, cell_y_m
        Size of a cell.
    least_m
        Shorter lines are left out.

    Returns
    -------
    The cells of each line in order along it. In every piece of band the longest line comes first; the branches
    that follow end where they meet one before them. No cell is in two lines.

    Notes
    -----
    Double sweep to the two ends of a band, then the tree of cheapest ways taken apart longest first; the time grows
    as n log n with the cells of the bands. A ring is cut open where its two halves meet.
    """
    ways = np.empty(int(np.count_nonzero(band)) + 1, dtype=np.int64)
    ends = np.empty_like(ways)
    found = _ways(band, crest & band, cell_x_m, cell_y_m, least_m, ways, ends)
    pieces = np.split(ways[: ends[found - 1]] if found else ways[:0], ends[: max(found - 1, 0)])
    lines = []
    for piece in pieces:
        on_crest = np.flatnonzero(crest.ravel()[piece])
        if on_crest.size < 2:
            continue
        # A way begins in the band's farthest corner; the line begins on its crest.
        r, c = np.divmod(piece[on_crest[0] : on_crest[-1] + 1], band.shape[1])
        if np.hypot(np.diff(r) * cell_y_m, np.diff(c) * cell_x_m).sum() >= least_m:
            lines.append((r, c))
    return lines


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
