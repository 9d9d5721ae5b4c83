"""The water's edge as lines with the way to the water at every point."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import contourpy
import numpy as np

from ...compiled import compiled
from .polyline import ahead, evenly, smoothed

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...arrays import Floats
    from ...depth import DepthSurface

_SMOOTH_M = (
    9.0  # the way to the water is taken from the edge smoothed over this, so that cells leave no steps in it
)


@dataclass(frozen=True)
class BankLine:
    """A piece of the water's edge: points at even steps, unit vectors to the water, and whether it closes."""

    points: Floats
    to_water: Floats
    step_m: float
    closed: bool


@compiled
def _edge_field(depth: NDArray[np.float32], fill: bool) -> NDArray[np.float32]:
    """Depths, and where asked land in place of the unknown beside water, so that the edge runs between the two."""
    field = depth.copy()
    if not fill:
        return field
    rows, columns = depth.shape
    for r in range(rows):
        for c in range(columns):
            if not np.isnan(depth[r, c]):
                continue
            total, count = 0.0, 0
            for down in range(-1, 2):
                for right in range(-1, 2):
                    rr, cc = r + down, c + right
                    if 0 <= rr < rows and 0 <= cc < columns and depth[rr, cc] > 0:
                        total += depth[rr, cc]
                        count += 1
            if count:
                field[r, c] = -total / count
    return field


@compiled
def _land_beside_water(depth: NDArray[np.float32]) -> bool:
    rows, columns = depth.shape
    for r in range(rows):
        for c in range(columns):
            if depth[r, c] > 0:
                if (r > 0 and depth[r - 1, c] <= 0) or (r + 1 < rows and depth[r + 1, c] <= 0):
                    return True
                if (c > 0 and depth[r, c - 1] <= 0) or (c + 1 < columns and depth[r, c + 1] <= 0):
                    return True
    return False


def bank_lines(
    surface: DepthSurface, *, least_m: float, unknown_is_land: bool | None = None, step_m: float = 3.0
) -> list[BankLine]:
    """Find the water's edge.

    Parameters
    ----------
    surface
        Today's depth.
    least_m
        Shorter pieces are left out.
    unknown_is_land
        Whether unknown cells beside water are a bank or just not surveyed. None decides: they are the bank where no
        land at all is known beside water. The rim of the grid is never a bank.
    step_m
        Distance between points.

    Returns
    -------
    In the order of the grid's rows; empty where there is no edge.
    """
    depth = surface.depth_m
    if unknown_is_land is None:
        unknown_is_land = not _land_beside_water(depth)
    if min(depth.shape) < 2:
        return []
    field = np.ma.masked_invalid(_edge_field(depth, unknown_is_land))
    drawn = contourpy.contour_generator(surface.xs, surface.ys, field, name="serial").lines(0.0)
    lines = []
    for line in drawn:
        points = np.asarray(line, dtype=np.float64)
        if np.hypot(*np.diff(points, axis=0).T).sum() < max(least_m, 4 * step_m):
            continue
        closed = bool((points[0] == points[-1]).all())
        points, step = evenly(points, step_m, closed=closed)
        way = ahead(smoothed(points, int(_SMOOTH_M // step), closed=closed), closed=closed)
        # Lines are drawn with the greater value to the left when rows count upward; here they count southward.
        lines.append(BankLine(points, np.column_stack([way[:, 1], -way[:, 0]]), step, closed))
    return lines
