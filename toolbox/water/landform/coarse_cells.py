"""The bottom on wider cells, and smoothed, with what is unknown left unknown."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from ...compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...arrays import Floats
    from ...depth import DepthSurface


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
