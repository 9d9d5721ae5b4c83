"""Slope, aspect and curvature of a grid of heights, from the eight cells around each; and wider, smoothed cells.

Heights count upward; a depth grid is handed in negated, or its gradient is read as pointing to deep water. Rows run
from north to south, so the textbook's y, which counts rows, points south.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from ...compiled import compiled
from ...errors import DataError, UsageError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...arrays import Floats
    from ...depth import DepthSurface


class Gradient(NamedTuple):
    """Rise per metre toward the east and toward the south, an array each; NaN where not known."""

    east: NDArray[np.floating]
    south: NDArray[np.floating]


@compiled
def _window(z: NDArray[np.floating], r: int, c: int, out: Floats) -> bool:
    """Fill `out` with the nine heights around a cell, row by row; False where its own is unknown."""
    rows, columns = z.shape
    middle = float(z[r, c])
    if np.isnan(middle):
        return False
    whole = True
    for k in range(9):
        rr, cc = r + k // 3 - 1, c + k % 3 - 1
        if 0 <= rr < rows and 0 <= cc < columns:
            out[k] = z[rr, cc]
        else:
            out[k] = np.nan
        whole = whole and not np.isnan(out[k])
    if whole:
        return True
    # A straight line through the cell continues what is known on the other side. The four sides first, the corners
    # then from the sides, so that a plane stays a plane up to its rim.
    for k in (1, 3, 5, 7):
        if np.isnan(out[k]) and not np.isnan(out[8 - k]):
            out[k] = 2.0 * middle - out[8 - k]
    for k in (1, 3, 5, 7):
        if np.isnan(out[k]):  # unknown on both sides: level
            out[k] = middle
    for k in (0, 2, 6, 8):
        if np.isnan(out[k]):
            upright, side = (1 if k < 3 else 7), (3 if k % 3 == 0 else 5)
            out[k] = out[upright] + out[side] - middle
    return True


@compiled
def _gradient(
    z: NDArray[np.floating],
    cell_x: float,
    cell_y: float,
    east: NDArray[np.floating],
    south: NDArray[np.floating],
) -> None:
    rows, columns = z.shape
    n = np.empty(9)
    for r in range(rows):
        for c in range(columns):
            if not _window(z, r, c, n):
                east[r, c] = np.nan
                south[r, c] = np.nan
            else:
                east[r, c] = ((n[2] + 2.0 * n[5] + n[8]) - (n[0] + 2.0 * n[3] + n[6])) / (8.0 * cell_x)
                south[r, c] = ((n[6] + 2.0 * n[7] + n[8]) - (n[0] + 2.0 * n[1] + n[2])) / (8.0 * cell_y)


def _checked(
    height_m: NDArray[np.floating], cell_x_m: float, cell_y_m: float
) -> tuple[NDArray[np.floating], float, float]:
    height = np.asarray(height_m)
    if height.ndim != 2:
        raise DataError(
            f"Heights were given as an array of shape {height.shape}; rows and columns are needed."
        )
    if height.dtype not in (np.dtype(np.float32), np.dtype(np.float64)):
        height = height.astype(np.float64)
    for name, value in (("cell_x_m", cell_x_m), ("cell_y_m", cell_y_m)):
        if not (np.isfinite(value) and value > 0):
            raise UsageError(f"{name} is {value}; a cell needs a finite size above 0 m.")
    return height, float(cell_x_m), float(cell_y_m)


def gradient(height_m: NDArray[np.floating], cell_x_m: float, cell_y_m: float) -> Gradient:
    """Rise per metre toward east and south, up to the rim of what is known.

    Where a neighbour is unknown or off the grid the surface goes on in a straight line.

    Parameters
    ----------
    height_m
        Heights at cell centres, row 0 in the north; NaN where not known.
    cell_x_m, cell_y_m
        Size of a cell from west to east and from north to south.

    Returns
    -------
    Arrays of the grid's shape.

    Raises
    ------
    DataError
        Heights that are not rows and columns.
    UsageError
        A cell size that is not a length.

    Notes
    -----
    Horn 1981, Proceedings of the IEEE 69, 14-47. White noise of one standard deviation s in the heights gives noise of
    0.43 s / cell in each part: on fine cells smooth the heights first.
    """
    height, cell_x, cell_y = _checked(height_m, cell_x_m, cell_y_m)
    east, south = np.empty_like(height, order="C"), np.empty_like(height, order="C")
    _gradient(height, cell_x, cell_y, east, south)
    return Gradient(east, south)


def slope_deg(slant: Gradient) -> NDArray[np.floating]:
    """Angle of steepest slope above the horizontal, 0 to 90 degrees."""
    slope: NDArray[np.floating] = np.degrees(np.arctan(np.hypot(slant.east, slant.south)))
    return slope


@compiled
def _blur_rows(values: NDArray[np.float32], weights: Floats, out: NDArray[np.float32]) -> None:
    """Weighted mean along rows of what is known; written transposed, so that twice makes both directions."""
    rows, columns = values.shape
    reach = weights.size // 2
    line = np.empty(columns + 2 * reach)
    known = np.empty(columns + 2 * reach)
    for r in range(rows):
        line[:] = 0.0
        known[:] = 0.0
        for c in range(columns):
            value = values[r, c]
            if not np.isnan(value):
                line[c + reach] = value
                known[c + reach] = 1.0
        for c in range(columns):
            if known[c + reach] == 0.0:
                out[c, r] = np.nan
                continue
            total, weight = 0.0, 0.0
            for k in range(weights.size):
                # A mirror pair counts only when both are known: a slope is not pulled to the known side.
                both = known[c + k] * known[c + weights.size - 1 - k]
                total += weights[k] * line[c + k] * both
                weight += weights[k] * both
            out[c, r] = total / weight


def _weights(spread: float) -> Floats:
    reach = int(np.ceil(2.5 * spread))
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) / spread) ** 2)
    return np.asarray(weights / weights.sum())


def blurred(
    depth_m: NDArray[np.float32], spread_m: float, cell_x_m: float, cell_y_m: float
) -> NDArray[np.float32]:
    """Smooth with a Gaussian.

    Parameters
    ----------
    depth_m
        Depths; NaN where not known.
    spread_m
        Standard deviation of the Gaussian. Under a third of a cell the direction is left as it is.
    cell_x_m, cell_y_m
        Size of a cell.

    Returns
    -------
    An array of the same shape, NaN where `depth_m` is. A plane stays a plane up to its rim.
    """
    out = depth_m
    for cell in (cell_x_m, cell_y_m):
        weights = _weights(spread_m / cell) if spread_m > cell / 3 else np.ones(1)
        turned = np.empty(out.shape[::-1], dtype=np.float32)
        _blur_rows(out, weights, turned)
        out = turned
    return out


def coarsened(surface: DepthSurface, cell_m: float) -> DepthSurface:
    """Mean depth over blocks of cells, as near to a cell size as whole blocks come and not wider.

    Parameters
    ----------
    surface
        Depths; a surface whose cells are wide already is returned as it is.
    cell_m
        Size of cell to come near to.

    Returns
    -------
    With the same corner in the northwest; its last row and column may reach beyond the old grid. A block is
    unknown only where all its cells are.
    """
    down, right = (max(1, int(cell_m / size + 1e-9)) for size in (surface.cell_y_m, surface.cell_x_m))
    if down == 1 and right == 1:
        return surface
    rows, columns = surface.shape
    margin = ((0, -rows % down), (0, -columns % right))
    blocks = np.pad(surface.depth_m.astype(np.float64), margin, constant_values=np.nan)
    blocks = blocks.reshape(blocks.shape[0] // down, down, -1, right)
    count = np.count_nonzero(~np.isnan(blocks), axis=(1, 3))
    mean = np.nansum(blocks, axis=(1, 3)) / np.where(count, count, np.nan)
    cell_x, cell_y = surface.cell_x_m * right, surface.cell_y_m * down
    depth = mean.astype(np.float32)
    return replace(surface, depth_m=depth, cell_x_m=cell_x, cell_y_m=cell_y)
