"""What is known of a bottom, and what of it each cell of a grid, and each block of cells, can use."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .barriers import ASIDE, Grid, barriers, crossings, inside, segments_of

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from .barriers import Crossings

DENSE = 0.7  # points along a contour, in cells: no cell on the line stays without


@dataclass(frozen=True, eq=False)
class Measured:
    """What is known of the bottom.

    ``lines`` are simple lines of equal depth ``line_depth_m``: first the ``shores`` rings of the shoreline, at
    depth 0, then the contours, and ``line_row`` the contour each is a part of (-1 for the shoreline). ``xy`` and
    ``depth_m`` are soundings. Trust is 1 for the best data there are, less for others, above 0.
    """

    lines: NDArray[np.object_]
    line_depth_m: NDArray[np.float64]
    line_row: NDArray[np.int64]
    line_trust: NDArray[np.float64]
    shores: int
    xy: NDArray[np.float64]
    depth_m: NDArray[np.float64]
    trust: NDArray[np.float64]

    @classmethod
    def gather(
        cls,
        shoreline: BaseGeometry,
        contours: NDArray[np.object_],
        contour_depth_m: NDArray[np.float64],
        xy: NDArray[np.float64],
        depth_m: NDArray[np.float64],
        *,
        contour_trust: NDArray[np.float64] | None = None,
        trust: NDArray[np.float64] | None = None,
    ) -> Measured:
        """Take geometries apart: polygons into rings, several lines into single ones; lines without length go."""
        rings = np.asarray(shapely.get_rings(shapely.get_parts(shapely.get_parts(shoreline))))
        parts, source = shapely.get_parts(contours, return_index=True)
        long = shapely.length(parts) > 0
        parts, source = parts[long], source[long]
        contour_trust = np.ones(len(contours)) if contour_trust is None else contour_trust
        return cls(
            np.concatenate([rings, parts]),
            np.concatenate([np.zeros(len(rings)), contour_depth_m[source]]),
            np.concatenate([np.full(len(rings), -1), source]),
            np.concatenate([np.ones(len(rings)), contour_trust[source]]),
            len(rings),
            xy,
            depth_m,
            np.ones(len(xy)) if trust is None else trust,
        )

    def without(self, lines: NDArray[np.int64], soundings: NDArray[np.int64]) -> Measured:
        """Leave out some lines and some soundings, by their index."""
        kept = np.delete(np.arange(len(self.lines)), lines)
        return replace(
            self,
            lines=self.lines[kept],
            line_depth_m=self.line_depth_m[kept],
            line_row=self.line_row[kept],
            line_trust=self.line_trust[kept],
            xy=np.delete(self.xy, soundings, axis=0),
            depth_m=np.delete(self.depth_m, soundings),
            trust=np.delete(self.trust, soundings),
        )

    def along_lines(self, spacing_m: float, *, shore: bool) -> NDArray[np.float64]:
        """Rows of x, y, depth, trust, weight along the contours, and along the shore if asked."""
        first = 0 if shore else self.shores
        dense = shapely.segmentize(self.lines[first:], spacing_m)
        xy, line = shapely.get_coordinates(dense, return_index=True)
        trust = self.line_trust[first:][line]
        return np.column_stack([xy, self.line_depth_m[first:][line], trust, trust])

    def soundings(self) -> NDArray[np.float64]:
        """Rows of x, y, depth, trust, weight, one for each sounding."""
        return np.column_stack([self.xy, self.depth_m, self.trust, self.trust])

    def points(self, spacing_m: float, *, shore: bool) -> NDArray[np.float64]:
        """Rows of x, y, depth, trust, weight along the contours (and the shore if asked), and for each sounding."""
        return np.vstack([self.along_lines(spacing_m, shore=shore), self.soundings()])


@dataclass(frozen=True, eq=False)
class Shore:
    """The shoreline on one grid: centres that are water, barred links, and where it crosses them."""

    water: NDArray[np.bool_]
    bars: NDArray[np.uint8]
    east: Crossings
    south: Crossings


def shore_on(grid: Grid, rings: NDArray[np.object_]) -> Shore:
    """Lay the rings of a shoreline on a grid."""
    east, south = crossings(grid, *segments_of(rings))
    water = inside(grid, east)
    return Shore(water, barriers(grid, east, south, water), east, south)


def _near(bars: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Find centres in whose cell, or in one of the eight around it, a link is barred."""
    barred: NDArray[np.bool_] = (bars != 0).any(axis=0)
    for axis in (0, 1):
        after = np.moveaxis(barred, axis, 0)
        before = after.copy()
        after[1:] |= before[:-1]
        after[:-1] |= before[1:]
    return barred


class Gathering:
    """Sorts rows (x, y, depth, trust, weight) into the cells of a grid, never across the shore."""

    def __init__(self, known: Measured) -> None:
        ends, _ = segments_of(known.lines[: known.shores])
        self._shore = shapely.STRtree(np.asarray(shapely.linestrings(ends.reshape(-1, 2, 2)), dtype=object))

    def _beyond_shore(self, start: NDArray[np.float64], end: NDArray[np.float64]) -> NDArray[np.bool_]:
        way = np.asarray(shapely.linestrings(np.stack([start, end], axis=1)), dtype=object)
        found = np.zeros(len(way), dtype=np.bool_)
        found[self._shore.query(way, predicate="intersects")[0]] = True
        return found

    def by_cell(
        self, grid: Grid, shore: Shore, rows: NDArray[np.float64]
    ) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
        """Average rows by cell, weighted.

        Returns
        -------
        Flat indices of the cells, the mean row of each, and the rows left over: those in the grid that a shore
        parts from the centre of their cell. Coarser cells may be able to use them.
        """
        place = np.floor(grid.places(rows[:, :2]) + ASIDE + 0.5).astype(np.int64)
        held = (
            (place[:, 0] >= 0) & (place[:, 0] < grid.columns) & (place[:, 1] >= 0) & (place[:, 1] < grid.rows)
        )
        rows, place = rows[held], place[held]
        node = place[:, 1] * grid.columns + place[:, 0]
        close = np.flatnonzero(_near(shore.bars).ravel()[node])
        centre = np.column_stack(
            [
                grid.west_m + (place[close, 0] + 0.5) * grid.cell_x_m,
                grid.north_m - (place[close, 1] + 0.5) * grid.cell_y_m,
            ]
        )
        aside = np.zeros(len(rows), dtype=np.bool_)
        aside[close] = self._beyond_shore(rows[close, :2], centre)
        used = ~aside & shore.water.ravel()[node]
        node, means = mean_rows(node[used], rows[used])
        return node, means, rows[aside]


def mean_rows(
    node: NDArray[np.int64], rows: NDArray[np.float64]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Average rows (x, y, depth, trust, weight) of the same cell; the weights are added up."""
    node, where = np.unique(node, return_inverse=True)
    weight = np.bincount(where, rows[:, -1], minlength=len(node))
    means = [np.bincount(where, rows[:, k] * rows[:, -1], minlength=len(node)) / weight for k in range(4)]
    return node, np.column_stack([*means, weight])


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
