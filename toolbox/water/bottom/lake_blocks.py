"""A grid cut into blocks, and what of the known data lies in each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .barriers import Grid
from .measured import Measured

if TYPE_CHECKING:
    from numpy.typing import NDArray


def _window(grid: Grid, top: int, bottom: int, left: int, right: int) -> Grid:
    return Grid(
        bottom - top,
        right - left,
        grid.west_m + left * grid.cell_x_m,
        grid.north_m - top * grid.cell_y_m,
        grid.cell_x_m,
        grid.cell_y_m,
    )


@dataclass(frozen=True)
class Block:
    """A part of a grid: its core, which no other block has, and the window around it that is worked on.

    Both as first row, row after the last, first column, column after the last.
    """

    core: tuple[int, int, int, int]
    window: tuple[int, int, int, int]

    def grid_of(self, grid: Grid) -> Grid:
        """Give the window as a grid."""
        return _window(grid, *self.window)

    def coarse(self, times: int) -> Block:
        """Give the block on cells so many times as wide."""
        core = tuple(-(-k // times) for k in self.core)
        window = tuple(-(-k // times) for k in self.window)
        return Block((core[0], core[1], core[2], core[3]), (window[0], window[1], window[2], window[3]))

    @property
    def whole(self) -> tuple[slice, slice]:
        """The core on the whole grid."""
        return np.s_[self.core[0] : self.core[1], self.core[2] : self.core[3]]

    @property
    def around(self) -> tuple[slice, slice]:
        """The window on the whole grid."""
        return np.s_[self.window[0] : self.window[1], self.window[2] : self.window[3]]

    @property
    def inner(self) -> tuple[slice, slice]:
        """The core in the window."""
        top, left = self.window[0], self.window[2]
        return np.s_[self.core[0] - top : self.core[1] - top, self.core[2] - left : self.core[3] - left]

    def rim(self, rows: int, columns: int, width: int) -> NDArray[np.bool_]:
        """Mark so many centres along the sides of the window beyond which the grid goes on."""
        top, bottom, left, right = self.window
        found = np.zeros((bottom - top, right - left), dtype=np.bool_)
        if top > 0:
            found[:width] = True
        if bottom < rows:
            found[-width:] = True
        if left > 0:
            found[:, :width] = True
        if right < columns:
            found[:, -width:] = True
        return found


def blocks_of(grid: Grid, side: int, halo: int) -> list[Block]:
    """Cut a grid into blocks of so many cells a side, with windows that reach so far beyond.

    Where both are multiples of a power of two, cells that many times as wide lie in one core or window each.
    """
    found = []
    for top in range(0, grid.rows, side):
        bottom = min(top + side, grid.rows)
        for left in range(0, grid.columns, side):
            right = min(left + side, grid.columns)
            window = (
                max(top - halo, 0),
                min(bottom + halo, grid.rows),
                max(left - halo, 0),
                min(right + halo, grid.columns),
            )
            found.append(Block((top, bottom, left, right), window))
    return found


class KnownByBlock:
    """Known data, held once, from which each block takes what lies in its window."""

    def __init__(self, known: Measured) -> None:
        self._known = known
        self._xy, self._line = shapely.get_coordinates(known.lines, return_index=True)

    def _touching(self, west: float, south: float, east: float, north: float) -> NDArray[np.int64]:
        """First vertices of the segments whose box touches a window; of the shore, also all those west of it.

        Which centres are water is told by counting the crossings with the shore to the west of them.
        """
        x, y = self._xy[:, 0], self._xy[:, 1]
        found = self._line[1:] == self._line[:-1]
        found &= np.maximum(y[1:], y[:-1]) >= south
        found &= np.minimum(y[1:], y[:-1]) <= north
        found &= np.minimum(x[1:], x[:-1]) <= east
        found &= (np.maximum(x[1:], x[:-1]) >= west) | (self._line[:-1] < self._known.shores)
        return np.flatnonzero(found)

    def within(self, grid: Grid) -> Measured:
        """Take the soundings in a grid, and of each line the pieces that touch it, with a cell to spare."""
        known = self._known
        west, east = grid.west_m - grid.cell_x_m, grid.west_m + (grid.columns + 1) * grid.cell_x_m
        south, north = grid.north_m - (grid.rows + 1) * grid.cell_y_m, grid.north_m + grid.cell_y_m
        first = self._touching(west, south, east, north)
        starts = np.ones(len(first), dtype=np.bool_)
        starts[1:] = np.diff(first) > 1
        ends = np.roll(starts, -1)
        ends[-1:] = True
        piece = np.cumsum(starts) - 1
        vertex = np.concatenate([first, first[ends] + 1])
        owner = np.concatenate([piece, piece[ends]])
        order = np.lexsort((vertex, owner))
        lines = np.empty(0, dtype=object)
        if len(first):
            lines = np.asarray(
                shapely.linestrings(self._xy[vertex[order]], indices=owner[order]), dtype=object
            )
        line = self._line[first[starts]]
        x, y = known.xy[:, 0], known.xy[:, 1]
        row = np.flatnonzero((x >= west) & (x <= east) & (y >= south) & (y <= north))
        return Measured(
            lines,
            known.line_depth_m[line],
            known.line_row[line],
            known.line_trust[line],
            int((line < known.shores).sum()),
            known.xy[row],
            known.depth_m[row],
            known.trust[row],
        )
