"""What tells how far a surface may be off at a place, besides the way to data: how steep it is and how it bends."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.ndimage import uniform_filter

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ..bottom.barriers import Grid

    Floats = NDArray[np.float32]

NEAR_M: Final = 25.0


def steepness(depth_m: Floats, grid: Grid) -> Floats:
    """Slope of a surface by its neighbours, one-sided at unknown ones; 0 where there are none."""
    total = np.zeros(depth_m.shape, dtype=np.float32)
    for axis, step in ((1, grid.cell_x_m), (0, grid.cell_y_m)):
        rise = np.abs(np.diff(depth_m, axis=axis)) / np.float32(step)
        rise = np.nan_to_num(rise, copy=False, nan=0.0)
        before = np.zeros(depth_m.shape, dtype=np.float32)
        after = np.zeros(depth_m.shape, dtype=np.float32)
        if axis == 1:
            before[:, 1:], after[:, :-1] = rise, rise
        else:
            before[1:], after[:-1] = rise, rise
        total += np.maximum(before, after) ** 2
    return np.sqrt(total)


def bending(depth_m: Floats, grid: Grid) -> Floats:
    """Second derivative of a surface, root mean square of the neighbourhood; 0 where it is not known."""
    total = np.zeros(depth_m.shape, dtype=np.float32)
    for axis, step in ((1, grid.cell_x_m), (0, grid.cell_y_m)):
        bend = np.diff(depth_m, n=2, axis=axis) / np.float32(step**2)
        bend = np.nan_to_num(bend, copy=False, nan=0.0)
        inner = np.s_[:, 1:-1] if axis == 1 else np.s_[1:-1]
        total[inner] += bend**2
    near = max(3, int(NEAR_M / min(grid.cell_x_m, grid.cell_y_m)) | 1)
    return np.asarray(np.sqrt(np.maximum(uniform_filter(total, near, mode="nearest"), 0.0)), dtype=np.float32)


def features_of(grid: Grid, depth_m: Floats, slope: Floats | None) -> tuple[Floats, Floats]:
    """Steepness and bending at each centre."""
    return (steepness(depth_m, grid) if slope is None else slope), bending(depth_m, grid)
