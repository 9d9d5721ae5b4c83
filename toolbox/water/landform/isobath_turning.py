"""How far the isobath through each cell turns within a stretch of it: out towards the deep, or in towards the bank."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...compiled import compiled
from .terrain import blurred, gradient

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...arrays import Floats
    from ...depth import DepthSurface


_STEPS = 4  # to either side


@compiled
def _way(
    east: NDArray[np.float32], south: NDArray[np.float32], row: float, column: float, least: float
) -> tuple[float, float]:
    """Give the unit vector (east, south) to the deep at a place in cells; 0, 0 where it is level or not known."""
    rows, columns = east.shape
    r, c = int(np.floor(row)), int(np.floor(column))
    if r < 0 or c < 0 or r >= rows - 1 or c >= columns - 1:
        return 0.0, 0.0
    down, right = row - r, column - c
    x = (1 - down) * ((1 - right) * east[r, c] + right * east[r, c + 1]) + down * (
        (1 - right) * east[r + 1, c] + right * east[r + 1, c + 1]
    )
    y = (1 - down) * ((1 - right) * south[r, c] + right * south[r, c + 1]) + down * (
        (1 - right) * south[r + 1, c] + right * south[r + 1, c + 1]
    )
    steep = np.sqrt(x * x + y * y)
    if not steep >= least:
        return 0.0, 0.0
    return x / steep, y / steep


@compiled
def _turn(
    east: NDArray[np.float32],
    south: NDArray[np.float32],
    start: tuple[float, float],
    side: float,
    step: tuple[float, float],
    steps: int,
    least: float,
) -> float:
    """Walk along the isobath to one side and add up how far the way to the deep turns; NaN where the walk breaks off.

    The isobath runs at a right angle to the way to the deep; each step takes the direction half a step ahead (midpoint
    rule).
    """
    row, column = start
    x, y = _way(east, south, row, column, least)
    total = 0.0
    for _ in range(steps):
        half_x, half_y = _way(
            east, south, row + 0.5 * side * x * step[0], column - 0.5 * side * y * step[1], least
        )
        if half_x == 0.0 and half_y == 0.0:
            return np.nan
        row += side * half_x * step[0]
        column -= side * half_y * step[1]
        new_x, new_y = _way(east, south, row, column, least)
        if new_x == 0.0 and new_y == 0.0:
            return np.nan
        total += np.arctan2(x * new_y - y * new_x, x * new_x + y * new_y)
        x, y = new_x, new_y
    return side * total


@compiled
def _turning(
    depth: NDArray[np.float32],
    east: NDArray[np.float32],
    south: NDArray[np.float32],
    step: tuple[float, float],
    steps: int,
    least: float,
    out: NDArray[np.float32],
) -> None:
    rows, columns = depth.shape
    for r in range(rows):
        for c in range(columns):
            out[r, c] = np.nan
            if not depth[r, c] > 0:
                continue
            x, y = _way(east, south, float(r), float(c), least)
            if x == 0.0 and y == 0.0:
                continue
            place = (float(r), float(c))
            out[r, c] = _turn(east, south, place, 1.0, step, steps, least) + _turn(
                east, south, place, -1.0, step, steps, least
            )


@compiled
def _beside(
    turn: NDArray[np.float32],
    east: NDArray[np.float32],
    south: NDArray[np.float32],
    row: float,
    column: float,
    step: tuple[float, float],
    steps: int,
    least: float,
    sign: float,
) -> float:
    """Give the least of sign times the turn on the isobath through a place, so many steps to both sides."""
    rows, columns = turn.shape
    found = np.inf
    for side in (-1.0, 1.0):
        r, c = row, column
        for _ in range(steps):
            x, y = _way(east, south, r, c, least)
            if x == 0.0 and y == 0.0:
                break
            r += side * x * step[0]
            c -= side * y * step[1]
            rr, cc = int(np.rint(r)), int(np.rint(c))
            if 0 <= rr < rows and 0 <= cc < columns and sign * turn[rr, cc] < found:
                found = sign * turn[rr, cc]
    return found


@dataclass(frozen=True, eq=False)
class Turning:
    """Turn of the isobath through each cell, in degrees, and what it was measured on.

    Above zero where the isobath bends out round the shallow side, below zero where it bends in; NaN on land, on level
    ground, and where the isobath leaves what is known.
    """

    surface: DepthSurface  # smoothed
    turn_deg: NDArray[np.float32]
    east: NDArray[np.float32]
    south: NDArray[np.float32]
    step_m: float
    least_slope: float

    def least_beside(self, x: Floats, y: Floats, within_m: float, sign: float) -> Floats:
        """Least of `sign` times the turn, along the isobath through each place, no further than `within_m` from it."""
        row = (self.surface.north_m - y) / self.surface.cell_y_m - 0.5
        column = (x - self.surface.west_m) / self.surface.cell_x_m - 0.5
        step = (self.step_m / self.surface.cell_y_m, self.step_m / self.surface.cell_x_m)
        steps = round(within_m / self.step_m)
        return np.array(
            [
                _beside(self.turn_deg, self.east, self.south, r, c, step, steps, self.least_slope, sign)
                for r, c in zip(row.tolist(), column.tolist(), strict=True)
            ]
        )


def isobath_turning(surface: DepthSurface, *, smooth_m: float, over_m: float, least_slope: float) -> Turning:
    """Follow the isobath through each cell and measure how far it turns.

    Parameters
    ----------
    surface
        Depths, on cells well below `over_m`.
    smooth_m
        Standard deviation of the Gaussian the bottom is smoothed with before.
    over_m
        Length of isobath over which the turn is added up, half of it to either side.
    least_slope
        Rise over run under which a bottom has no isobaths worth the name.

    Notes
    -----
    The turn of a curve is the integral of its curvature: along an isobath the turn of the way to the deep. Over a
    stretch as long as a structure is wide it measures how far the isobath goes round it, while ripples cancel.
    """
    cell_x, cell_y = surface.cell_x_m, surface.cell_y_m
    depth = blurred(surface.depth_m, smooth_m, cell_x, cell_y)
    slant = gradient(depth, cell_x, cell_y)
    east, south = (np.asarray(part, dtype=np.float32) for part in slant)
    step_m = over_m / (2 * _STEPS)
    out = np.empty(depth.shape, dtype=np.float32)
    _turning(depth, east, south, (step_m / cell_y, step_m / cell_x), _STEPS, least_slope, out)
    return Turning(surface.with_depth(depth), np.degrees(out), east, south, step_m, least_slope)
