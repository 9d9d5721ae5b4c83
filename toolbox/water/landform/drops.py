"""How much more the bottom drops across a short run than its sides do, cell by cell."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...arrays import Flags, Floats


@compiled
def _at(depth: NDArray[np.float32], row: float, column: float) -> float:
    """Bilinear depth at a place counted in cells from the first centre; NaN off the grid or beside the unknown."""
    rows, columns = depth.shape
    if not (0.0 <= row <= rows - 1 and 0.0 <= column <= columns - 1):
        return np.nan
    r, c = int(row), int(column)
    down, right = row - r, column - c
    below, beside = min(r + 1, rows - 1), min(c + 1, columns - 1)
    return float(
        (1 - down) * ((1 - right) * depth[r, c] + right * depth[r, beside])
        + down * ((1 - right) * depth[below, c] + right * depth[below, beside])
    )


@compiled
def _excess(
    depth: NDArray[np.float32],
    east: NDArray[np.float32],
    south: NDArray[np.float32],
    cell_x: float,
    cell_y: float,
    runs: Floats,
    side: float,
    steep: float,
    out: NDArray[np.float32],
) -> None:
    rows, columns = depth.shape
    for r in range(rows):
        for c in range(columns):
            out[r, c] = 0.0
            slope = np.hypot(east[r, c], south[r, c])
            if not slope >= steep:
                continue
            right, down = east[r, c] / slope / cell_x, south[r, c] / slope / cell_y
            best = 0.0
            for k in range(runs.size):
                half = runs[k] / 2.0
                top = _at(depth, r - half * down, c - half * right)
                base = _at(depth, r + half * down, c + half * right)
                above = _at(depth, r - (half + side) * down, c - (half + side) * right)
                below = _at(depth, r + (half + side) * down, c + (half + side) * right)
                if not (above > 0.0 and top > 0.0):  # the bank itself; NaN too
                    continue
                sides = max(below - base, top - above, 0.0) / side
                value = base - top - runs[k] * sides
                best = max(best, value)  # NaN is not greater
            out[r, c] = best


@compiled
def _crest(
    value: NDArray[np.float32],
    east: NDArray[np.float32],
    south: NDArray[np.float32],
    cell_x: float,
    cell_y: float,
    least: float,
    out: Flags,
) -> None:
    """Mark cells that are greatest along their own way down."""
    rows, columns = value.shape
    step = min(cell_x, cell_y)
    for r in range(rows):
        for c in range(columns):
            out[r, c] = False
            if not value[r, c] >= least:
                continue
            slope = np.hypot(east[r, c], south[r, c])
            right, down = step * east[r, c] / slope / cell_x, step * south[r, c] / slope / cell_y
            ahead, behind = _at(value, r + down, c + right), _at(value, r - down, c - right)
            if np.isnan(ahead) or np.isnan(behind):
                continue
            out[r, c] = value[r, c] >= ahead and value[r, c] > behind


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
    out = np.empty(depth_m.shape, dtype=np.float32)
    _excess(
        depth_m, east, south, cell_x_m, cell_y_m, np.asarray(runs_m, dtype=np.float64), side_m, steep, out
    )
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
    out = np.empty(value.shape, dtype=np.bool_)
    _crest(value, east, south, cell_x_m, cell_y_m, least, out)
    return out
