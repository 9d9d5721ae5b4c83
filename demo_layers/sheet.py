"""A grid in local metres, row 0 at the south edge, and what is near a line on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from castshed.demo_layers.channels import resample

if TYPE_CHECKING:
    from castshed.demo_layers.relief import Floats

Grid = NDArray[np.float32]
Cells = tuple[NDArray[np.intp], NDArray[np.intp]]


def smooth_step(x: Floats) -> Floats:
    """Rise from 0 to 1 between x = 0 and x = 1, level at both ends."""
    t = np.clip(x, 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t))


class Sheet:
    """Where the cells of a grid lie."""

    def __init__(self, shape: tuple[int, int], cell_m: float) -> None:
        self.shape, self.cell_m = shape, cell_m

    def read(self, grid: Grid, xy: Floats) -> Floats:
        """Read a grid at points, linear between cell centres."""
        index = np.stack([xy[:, 1], xy[:, 0]]) / self.cell_m - 0.5
        return np.asarray(ndimage.map_coordinates(grid, index, order=1, mode="nearest"), dtype=np.float64)

    def cells_on(self, line: Floats) -> Cells:
        """Give the cells (row, column) a line passes through."""
        dense = resample(line, self.cell_m)
        col, row = np.floor(dense / self.cell_m).astype(np.intp).T
        inside = (row >= 0) & (col >= 0) & (row < self.shape[0]) & (col < self.shape[1])
        return row[inside], col[inside]

    def near(self, line: Floats, reach_m: float) -> tuple[Cells, Floats]:
        """Give the cells within reach of a line, and their centres."""
        row, col = self.cells_on(line)
        if len(row) == 0:
            return (row, col), np.zeros((0, 2))
        pad = int(reach_m / self.cell_m) + 2
        r0, r1 = max(0, int(row.min()) - pad), min(self.shape[0], int(row.max()) + pad + 1)
        c0, c1 = max(0, int(col.min()) - pad), min(self.shape[1], int(col.max()) + pad + 1)
        off = np.ones((r1 - r0, c1 - c0), dtype=bool)
        off[row - r0, col - c0] = False
        r, c = np.nonzero(ndimage.distance_transform_edt(off) * self.cell_m <= reach_m)
        cells = (r + r0, c + c0)
        return cells, np.column_stack([cells[1] + 0.5, cells[0] + 0.5]) * self.cell_m
