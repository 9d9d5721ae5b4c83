"""Least depth of blocks of cells: it tells at once of most places that all water round them is deep."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from ...arrays import Flags, Floats
    from ...depth import DepthSurface


_BLOCK_M: Final = 8.0  # a third of a cast: few blocks to a box, and not much water beyond it


class LeastBlocks:
    """Blocks of about eight metres, with the least charted depth of each.

    Parameters
    ----------
    surface
        The lake's depth. A block with any unknown depth is unknown.
    """

    def __init__(self, surface: DepthSurface) -> None:
        self._surface = surface
        self._wide = max(1, int(_BLOCK_M // surface.cell_x_m))
        self._high = max(1, int(_BLOCK_M // surface.cell_y_m))
        depth = surface.depth_m
        rows, columns = depth.shape
        high, wide = -(-rows // self._high), -(-columns // self._wide)
        if self._high > 1 or self._wide > 1:
            # The last row and column are repeated to fill the last blocks.
            short = ((0, high * self._high - rows), (0, wide * self._wide - columns))
            depth = np.pad(depth, short, mode="edge") if any(end for _, end in short) else depth
            depth = depth.reshape(high, self._high, wide * self._wide).min(axis=1)
            depth = depth.reshape(high, wide, self._wide).min(axis=2)
        self._least_m = depth

    def deep(self, west_m: Floats, south_m: Floats, east_m: Floats, north_m: Floats, least_m: float) -> Flags:
        """Tell for which boxes all water has at least a charted depth.

        Returns
        -------
        True where every block with a share in the box is that deep: a bilinear surface is nowhere less deep than its
        shallowest corner. False says nothing. Boxes that reach beyond the outermost cell centres are never True.
        """
        if not len(west_m):
            return np.zeros(0, dtype=np.bool_)
        surface = self._surface
        rows, columns = surface.shape
        left = np.floor((west_m - surface.west_m) / surface.cell_x_m - 0.5).astype(np.intp)
        right = np.ceil((east_m - surface.west_m) / surface.cell_x_m - 0.5).astype(np.intp)
        top = np.floor((surface.north_m - north_m) / surface.cell_y_m - 0.5).astype(np.intp)
        bottom = np.ceil((surface.north_m - south_m) / surface.cell_y_m - 0.5).astype(np.intp)
        found = (left >= 0) & (top >= 0) & (right < columns) & (bottom < rows)
        left, right = (side.clip(0, columns - 1) // self._wide for side in (left, right))
        top, bottom = (side.clip(0, rows - 1) // self._high for side in (top, bottom))
        for down in range(int((bottom - top).max()) + 1):
            for across in range(int((right - left).max()) + 1):
                found &= (
                    self._least_m[np.minimum(top + down, bottom), np.minimum(left + across, right)] >= least_m
                )
        return found
