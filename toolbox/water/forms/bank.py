"""The water's edge as lines with the way to the water at every point."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import contourpy
import numpy as np

from ..compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ..depth import DepthSurface

_SMOOTH_M = (
    9.0  # the way to the water is taken from the edge smoothed over this, so that cells leave no steps in it
)


@dataclass(frozen=True)
class BankLine:
    """A piece of the water's edge: points at even steps, unit vectors to the water, and whether it closes."""

    points: NDArray[np.float64]
    to_water: NDArray[np.float64]
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


def _smooth(values: NDArray[np.float64], reach: int, *, closed: bool) -> NDArray[np.float64]:
    """Mean over 2 reach + 1 points; the ends of an open line are continued through their end point."""
    if reach < 1:
        return values
    if closed:
        padded = np.take(values, np.arange(-reach, len(values) + reach), axis=0, mode="wrap")
    else:
        reach = min(reach, len(values) - 1)
        front = 2 * values[0] - values[1 : reach + 1][::-1]
        back = 2 * values[-1] - values[-reach - 1 : -1][::-1]
        padded = np.concatenate([front, values, back])
    total = np.cumsum(np.concatenate([np.zeros((1, values.shape[1])), padded]), axis=0)
    width = 2 * reach + 1
    return np.asarray((total[width:] - total[:-width]) / width)


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
    list of BankLine
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
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        if not along[-1] >= max(least_m, 4 * step_m):
            continue
        closed = bool((points[0] == points[-1]).all())
        count = max(int(along[-1] // step_m), 3)
        step = along[-1] / count
        at = np.arange(count if closed else count + 1) * step
        points = np.column_stack([np.interp(at, along, points[:, k]) for k in (0, 1)])
        soft = _smooth(points, int(_SMOOTH_M // step), closed=closed)
        ahead = np.roll(soft, -1, axis=0) - np.roll(soft, 1, axis=0)
        if not closed:
            ahead[0], ahead[-1] = soft[1] - soft[0], soft[-1] - soft[-2]
        size = np.hypot(*ahead.T)
        size[size == 0] = 1.0
        # Lines are drawn with the greater value to the left when rows count upward; here they count southward.
        to_water = np.column_stack([ahead[:, 1], -ahead[:, 0]]) / size[:, None]
        lines.append(BankLine(points, to_water, float(step), closed))
    return lines
