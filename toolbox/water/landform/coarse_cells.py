"""The bottom on wider cells, and smoothed, with what is unknown left unknown."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...arrays import Floats
    from ...depth import DepthSurface


@compiled
def _block_means(depth: NDArray[np.float32], down: int, right: int, out: NDArray[np.float32]) -> None:
    rows, columns = depth.shape
    for r in range(out.shape[0]):
        for c in range(out.shape[1]):
            total, count = 0.0, 0
            for rr in range(r * down, min((r + 1) * down, rows)):
                for cc in range(c * right, min((c + 1) * right, columns)):
                    if not np.isnan(depth[rr, cc]):
                        total += depth[rr, cc]
                        count += 1
            out[r, c] = total / count if count else np.nan


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
    out = np.empty((-(-rows // down), -(-columns // right)), dtype=np.float32)
    _block_means(surface.depth_m, down, right, out)
    return type(surface)(
        out,
        surface.west_m,
        surface.north_m,
        surface.cell_x_m * right,
        surface.cell_y_m * down,
        surface.crs,
        surface.error_m,
    )
