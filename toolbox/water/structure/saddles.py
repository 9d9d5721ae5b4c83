"""Saddles: the low place on a crest between two rises, with deeper water on both of its sides.

Cols: the lowest cut in the crest between two closed rises.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from ...compiled import compiled
from ..landform.merge_tree import DOWN, RIGHT, closed_rises, holder, local_top, longer, shallower
from ..landform.terrain import blurred
from .finding_table import bearing_deg, findings, require_lengths
from .humps import LEAST_CELLS, SMOOTH_M

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    from ...arrays import Flags, Floats, Ints
    from ...depth import DepthSurface
    from ..landform.merge_tree import Rises


@dataclass(frozen=True, eq=False)
class Cols:
    """Cols: their cell (flat index), and which two of the rises they lie between."""

    cell: Ints
    one: Ints
    other: Ints


@compiled
def _passes(depth: NDArray[np.float32], owner: NDArray[np.int32]) -> Floats:
    """Find cells from which the bottom rises on two sides, and the tops of the two different rises it rises to."""
    rows, columns = depth.shape
    outside = rows * columns
    out = np.empty((64, 3))
    flat = depth.ravel()
    found = 0
    up = np.empty(8, dtype=np.bool_)
    tops = np.empty(4, dtype=np.int64)
    for r in range(1, rows - 1):
        for c in range(1, columns - 1):
            if not depth[r, c] > 0:
                continue
            cell = r * columns + c
            known = True
            for way in range(8):
                near = (r + DOWN[way]) * columns + c + RIGHT[way]
                known = known and flat[near] > 0
                up[way] = shallower(flat, near, cell)
            if not known:
                continue
            # A deeper corner between two shallower sides does not part them: cells touch across corners.
            for way in range(1, 8, 2):
                if up[way - 1] and up[(way + 1) % 8]:
                    up[way] = True
            arcs = 0
            for way in range(8):
                if up[way] and not up[way - 1]:
                    best = -1
                    turn = way
                    while up[turn % 8]:
                        near = (r + DOWN[turn % 8]) * columns + c + RIGHT[turn % 8]
                        if best < 0 or shallower(flat, near, best):
                            best = near
                        turn += 1
                    tops[arcs] = best
                    arcs += 1
            if arcs < 2:
                continue
            for k in range(arcs):
                top = local_top(depth, tops[k])
                tops[k] = outside if top < 0 else holder(owner, top)
            for k in range(arcs):
                for j in range(k):
                    if tops[k] != tops[j] and tops[k] != outside and tops[j] != outside:
                        if found == out.shape[0]:
                            out = longer(out)
                        out[found, 0] = cell
                        out[found, 1] = min(tops[k], tops[j])
                        out[found, 2] = max(tops[k], tops[j])
                        found += 1
    return out[:found]


def cols_between(depth_m: NDArray[np.float32], rises: Rises, owner: NDArray[np.int32]) -> Cols:
    """Find the lowest cut in the crest from one rise to the next: of all passes between two rises the shallowest.

    Parameters
    ----------
    depth_m
        The grid that was flooded.
    rises, owner
        What `closed_rises` gave for it.
    """
    passes = _passes(np.ascontiguousarray(depth_m), owner).astype(np.int64)
    depth = depth_m.ravel()[passes[:, 0]]
    order = np.lexsort((passes[:, 0], depth, passes[:, 2], passes[:, 1]))
    passes = passes[order]
    first = np.ones(len(passes), dtype=bool)
    first[1:] = (np.diff(passes[:, 1]) != 0) | (np.diff(passes[:, 2]) != 0)
    cell, one, other = passes[first].T
    return Cols(cell, np.searchsorted(rises.top, one), np.searchsorted(rises.top, other))


_REACH = (0.3, 0.4, 0.5)  # circles round a col, as shares of the way between its tops
_TURNS = 64


def _rings(smooth: DepthSurface, x: Floats, y: Floats, reach_m: Floats) -> Floats:
    """Depths on a circle round each place, counter-clockwise from east."""
    turn = np.arange(_TURNS) * (2 * np.pi / _TURNS)
    return smooth.at(
        x[:, None] + reach_m[:, None] * np.cos(turn), y[:, None] + reach_m[:, None] * np.sin(turn)
    )


def _sides(ring: Floats, depth: Floats, toward: Floats) -> tuple[Flags, Floats, Floats]:
    """Tell whether a circle crosses the depth of its col four times, and where and how deep both deep sides are.

    `toward` is the direction of one top. Gives the answer, the greatest depth on either side of the crest, and the
    direction in which each lies, all by row.
    """
    deeper = ring > depth[:, None]
    crossings = (deeper != np.roll(deeper, 1, axis=1)).sum(axis=1)
    turn = np.arange(_TURNS) * (2 * np.pi / _TURNS)
    left = np.sin(turn - toward[:, None]) > 0
    most, way = [], []
    for side in (left, ~left):
        of_side = np.where(side, ring, -np.inf)
        most.append(of_side.max(axis=1))
        way.append(turn[of_side.argmax(axis=1)])
    four = (crossings == 4) & np.isfinite(ring).all(axis=1)
    return four, np.array(most).T, np.array(way).T


def find_saddles(
    surface: DepthSurface,
    *,
    relief_m: float = 0.75,
    drop_m: float = 0.3,
    area_m2: float = 150.0,
    apart_m: float = 250.0,
) -> gpd.GeoDataFrame:
    """Find saddles.

    Parameters
    ----------
    surface
        Today's depths.
    relief_m
        Both rises stand at least so high, and at least so high above the saddle.
    drop_m
        On both sides of the crest the ground falls at least so far below the saddle, within half the way between the
        tops.
    area_m2
        Each rise covers at least so much where it closes.
    apart_m
        The two tops lie no further apart than this.

    Returns
    -------
    One point a saddle. `top_m` is its own depth, `base_m` the depth that both sides reach, `slope_deg` the fall to
    the deeper side, to which `deep_bearing_deg` points; `length_m` is the way between the two tops.

    Notes
    -----
    Of all passes between two rises, the shallowest; where the bottom, on a circle round it, crosses the depth of the
    pass exactly four times it is a saddle (Banchoff 1967, Journal of Differential Geometry 1, 245-256). Two of three
    circles must say so.

    What makes the result wrong: soundings far apart against the way between the tops; the crest then lies anywhere.
    """
    require_lengths(relief_m=relief_m, drop_m=drop_m, area_m2=area_m2, apart_m=apart_m)
    cell_x, cell_y = surface.cell_x_m, surface.cell_y_m
    columns = surface.shape[1]
    depth = blurred(surface.depth_m, SMOOTH_M, cell_x, cell_y)
    rises, owner = closed_rises(depth, relief_m, max(int(np.ceil(area_m2 / (cell_x * cell_y))), LEAST_CELLS))
    cols = cols_between(depth, rises, owner)

    def place(cell: Ints) -> Floats:
        return np.column_stack(
            [
                surface.west_m + (cell % columns + 0.5) * cell_x,
                surface.north_m - (cell // columns + 0.5) * cell_y,
            ]
        )

    flat = depth.ravel().astype(np.float64)
    tops = np.column_stack([rises.top[cols.one], rises.top[cols.other]])
    above = flat[cols.cell] - flat[tops].max(axis=1, initial=-np.inf)
    way = place(tops[:, 1]) - place(tops[:, 0])
    between = np.hypot(*way.T)
    keep = (above >= relief_m) & (between <= apart_m)
    cell, way, between, above = cols.cell[keep], way[keep], between[keep], above[keep]
    at, own = place(cell), flat[cell]
    smooth = surface.with_depth(depth)
    votes = np.zeros(len(cell), dtype=np.int64)
    toward = np.arctan2(way[:, 1], way[:, 0])
    for share in _REACH:
        reach = np.maximum(share * between, 2.0 * max(cell_x, cell_y))
        four, most, turn = _sides(_rings(smooth, at[:, 0], at[:, 1], reach), own, toward)
        votes += four
    drops = most - own[:, None]
    good = (votes >= 2) & (drops.min(axis=1) >= drop_m)
    at, own, drops, turn, reach = at[good], own[good], drops[good], turn[good], reach[good]
    deeper = drops.argmax(axis=1)
    rows = np.arange(len(at))
    lesser = drops.min(axis=1)
    return findings(
        "saddle",
        list(shapely.points(at)),
        surface.crs,
        {
            "top_m": own,
            "base_m": own + lesser,
            "relief_m": lesser,
            "slope_deg": np.degrees(np.arctan(drops.max(axis=1, initial=0.0) / reach)),
            "length_m": between[good],
            "deep_bearing_deg": [bearing_deg(np.cos(a), np.sin(a)) for a in turn[rows, deeper].tolist()],
            "strength": np.minimum(lesser / drop_m, above[good] / relief_m),
        },
    )
