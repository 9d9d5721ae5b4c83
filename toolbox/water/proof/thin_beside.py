"""Whether a charted depth too thin for the boat lies beside a way, nearer than the clearance, whatever a layer says.

Part of the last check. Hazards that were left out of their layer, or were drawn at another level, come to light by the
depths themselves.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from ...units import in_words
from .keep_out import TOLERANCE_M
from .violations import Violation

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from ...arrays import Floats, Geometries
    from ...depth import DepthSurface
    from .sure_depth import DepthDoubt

_DEPTH_TOLERANCE_M = 1e-4  # depths are kept in single precision
_STEP_M = 100.0


def _cells(depth: DepthSurface, low: Any, high: Any) -> tuple[Floats, Floats]:
    """Take the cell centres within a box, and their depths."""
    rows, columns = depth.shape
    west = max(0, int(np.floor((low[0] - depth.west_m) / depth.cell_x_m - 0.5)))
    east = min(columns, int(np.ceil((high[0] - depth.west_m) / depth.cell_x_m + 0.5)))
    north = max(0, int(np.floor((depth.north_m - high[1]) / depth.cell_y_m - 0.5)))
    south = min(rows, int(np.ceil((depth.north_m - low[1]) / depth.cell_y_m + 0.5)))
    if west >= east or north >= south:
        return np.empty((0, 2)), np.empty(0)
    x = depth.west_m + (np.arange(west, east) + 0.5) * depth.cell_x_m
    y = depth.north_m - (np.arange(north, south) + 0.5) * depth.cell_y_m
    at = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    return at, np.asarray(depth.depth_m[north:south, west:east], dtype=float).ravel()


def thin_beside(
    lines: Geometries,
    names: Sequence[str],
    depth: DepthSurface,
    level_m: float,
    *,
    keep_m: float,
    least_m: float,
    doubt: DepthDoubt | None = None,
) -> Iterator[Violation]:
    """Find lines that pass a cell too thin for the boat, or without a depth, nearer than they may.

    Parameters
    ----------
    lines, names
        Lines and what to call them.
    depth, level_m
        Depth surface, and today's level.
    keep_m, least_m
        Distance to keep, and the depth that is needed.
    doubt
        What may be missing at a place beyond the errors in ``least_m``.

    Yields
    ------
    Violation
        At most one for each line, for the cell that is nearest of all. Of cells only the centres are looked at, where
        the surface has the depth that was charted.
    """
    for name, line in zip(names, lines, strict=True):
        xy = shapely.get_coordinates(shapely.segmentize(line, _STEP_M))
        worst: tuple[float, float, float, float] | None = None
        for a, b in pairwise(xy):
            at, charted = _cells(depth, np.minimum(a, b) - keep_m, np.maximum(a, b) + keep_m)
            if doubt is not None and len(at):
                charted = charted - doubt.more_m(at[:, 0], at[:, 1])
            thin = ~(charted + level_m >= least_m - _DEPTH_TOLERANCE_M)
            if not thin.any():
                continue
            at, charted, way = at[thin], charted[thin], b - a
            share = ((at - a) @ way / max(float(way @ way), 1e-300)).clip(0.0, 1.0)
            gap = np.hypot(*(at - a - share[:, None] * way).T)
            k = int(np.argmin(gap))
            if gap[k] < keep_m - TOLERANCE_M and (worst is None or gap[k] < worst[0]):
                worst = float(gap[k]), float(charted[k]) + level_m, float(at[k, 0]), float(at[k, 1])
        if worst is not None:
            gap_m, here, x, y = worst
            what = "water without a known depth" if np.isnan(here) else f"{in_words(here, 'length')} of water"
            yield Violation(
                name,
                f"comes within {in_words(gap_m, 'length')} of {what}, {in_words(least_m, 'length')} is needed within "
                f"{in_words(keep_m, 'length')}",
                x,
                y,
                keep_m - gap_m,
            )
