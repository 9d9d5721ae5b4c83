"""How much more the bottom drops across a short run than its sides do, cell by cell."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import map_coordinates

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...arrays import Flags, Floats


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
