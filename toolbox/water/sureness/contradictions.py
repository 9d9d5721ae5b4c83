"""Where a chart and soundings contradict each other by more than their errors: by how much, and which was believed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import geopandas as gpd
import numpy as np
import shapely
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...depth import DepthSurface
    from ..bottom.measured import Measured

    Floats = NDArray[np.float64]

_POINTS: Final = 30_000  # along contours and shore
_NEIGHBOURS: Final = 96
_AT_ONCE: Final = 20_000
COLUMNS: Final = ("difference_m", "charted_m", "sounded_m", "depth_m", "believed", "source", "surveyed")


def charted(known: Measured, xy: Floats) -> tuple[Floats, Floats]:
    """Depths between the line nearest to each place and the nearest of another depth, and the slope between these.

    Where no other depth is near, the depth is that of the nearest line, and the slope 0.
    """
    spacing = max(float(shapely.length(known.lines).sum()) / _POINTS, 1.0)
    points = known.along_lines(spacing, shore=True)
    tree = cKDTree(points[:, :2])
    parts = [np.empty((0, 2))]
    for some in np.array_split(xy, -(-len(xy) // _AT_ONCE) or 1):
        found, near = tree.query(some, k=np.arange(1, min(_NEIGHBOURS, len(points)) + 1))
        away = np.asarray(found, dtype=np.float64)
        depth = points[near, 2]
        other = depth != depth[:, :1]
        second = np.where(other, away, np.inf).argmin(axis=1)
        rows = np.arange(len(some))
        far = np.maximum(away[:, 0] + away[rows, second], 1e-9)
        fall = np.where(other.any(axis=1), (depth[rows, second] - depth[:, 0]) / far, 0.0)
        parts.append(np.column_stack([depth[:, 0] + away[:, 0] * fall, np.abs(fall)]))
    told = np.vstack(parts)
    return told[:, 0], told[:, 1]


def contradictions_of(
    given: Measured,
    soundings: gpd.GeoDataFrame | None,
    made: DepthSurface,
    *,
    interval_m: float | None,
    stated_m: float,
    sideways_m: float,
) -> gpd.GeoDataFrame:
    """List the soundings that differ from the contours round them by more than both may be off.

    Parameters
    ----------
    given
        All that was measured, with what was left out of the surface.
    soundings
        Its soundings, row by row; None for none.
    made
        The surface.
    interval_m
        Usual step between contours, which is as far as two neighbours leave the depth between them open; None for none.
    stated_m, sideways_m
        Errors (95 %) of depth and of position that the sources state; the latter counts where the chart is steep.

    Returns
    -------
    A row for each: ``difference_m`` is charted minus sounded depth, above 0 where the chart promises more water;
    ``depth_m`` what the surface says there; ``believed`` the source that it follows.
    """
    empty = soundings is None or interval_m is None or len(given.lines) == given.shores
    if soundings is None or interval_m is None or empty:
        rows = np.empty(0, dtype=np.int64)
        chart = sounded = np.empty(0)
    else:
        chart, slope = charted(given, given.xy)
        sounded = given.depth_m
        allowed = np.sqrt(interval_m**2 + stated_m**2 + (sideways_m * slope) ** 2)
        rows = np.flatnonzero(np.abs(chart - sounded) > allowed)
        chart, sounded = chart[rows], sounded[rows]
    xy = given.xy[rows]
    surface = np.asarray(made.at(xy[:, 0], xy[:, 1]), dtype=np.float64) if len(rows) else np.empty(0)
    nearer = np.abs(surface - sounded) <= np.abs(surface - chart)
    believed = np.where(np.isfinite(surface), np.where(nearer, "soundings", "contours"), "")
    columns: dict[str, object] = {
        "difference_m": chart - sounded,
        "charted_m": chart,
        "sounded_m": sounded,
        "depth_m": surface,
        "believed": believed.astype(object),
    }
    for name in ("source", "surveyed"):
        told = (
            None
            if soundings is None or name not in soundings
            else soundings[name].to_numpy(dtype=object)[rows]
        )
        columns[name] = np.full(len(rows), "", dtype=object) if told is None else told
    return gpd.GeoDataFrame(columns, geometry=shapely.points(xy), crs=made.crs)
