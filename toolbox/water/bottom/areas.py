"""Areas of water between contours, and the depths each can hold.

Areas that were labelled block by block, joined over the edges of the blocks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from ...compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from .barriers import Crossings


@compiled
def _root(parent: NDArray[np.int32], node: int) -> int:
    while parent[node] != node:
        parent[node] = parent[parent[node]]
        node = int(parent[node])
    return node


@compiled
def _label(
    water: NDArray[np.bool_], cut_east: NDArray[np.bool_], cut_south: NDArray[np.bool_]
) -> tuple[NDArray[np.int32], int]:
    """Label the areas joined by links that are not cut; 0 on land."""
    rows, columns = water.shape
    parent = np.arange(rows * columns).astype(np.int32)
    for r in range(rows):
        for c in range(columns):
            if not water[r, c]:
                continue
            node = r * columns + c
            if c + 1 < columns and water[r, c + 1] and not cut_east[r, c]:
                a, b = _root(parent, node), _root(parent, node + 1)
                parent[max(a, b)] = min(a, b)
            if r + 1 < rows and water[r + 1, c] and not cut_south[r, c]:
                a, b = _root(parent, node), _root(parent, node + columns)
                parent[max(a, b)] = min(a, b)
    label = np.zeros((rows, columns), dtype=np.int32)
    flat = label.reshape(rows * columns)
    count = 0
    for node in range(rows * columns):
        if not water[node // columns, node % columns]:
            continue
        root = _root(parent, node)
        if root == node:  # the root is the smallest of its area, so it comes first
            count += 1
            flat[node] = count
        else:
            flat[node] = flat[root]
    return label, count


def _first(node: NDArray[np.int64], key: NDArray[np.float64]) -> NDArray[np.int64]:
    """Index of the entry with the smallest key of each node."""
    order = np.lexsort((key, node))
    _, first = np.unique(node[order], return_index=True)
    return order[first]


def _events(east: Crossings, south: Crossings, columns: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Pair each centre with the line nearest to it on each of its links."""
    ends = (
        (east.node, east.share, east),
        (east.node + 1, 1 - east.share, east),
        (south.node, south.share, south),
        (south.node + columns, 1 - south.share, south),
    )
    nodes, lines = [], []
    for node, distance, source in ends:
        nearest = _first(node, distance)
        nodes.append(node[nearest])
        lines.append(source.line[nearest])
    return np.concatenate(nodes), np.concatenate(lines)


def label_areas(water: NDArray[np.bool_], east: Crossings, south: Crossings) -> tuple[NDArray[np.int32], int]:
    """Label the areas of water that no line parts (1, 2, ..; 0 on land), and count them."""
    cut_east = np.zeros(water.size, dtype=np.bool_)
    cut_south = np.zeros(water.size, dtype=np.bool_)
    cut_east[east.node] = True
    cut_south[south.node] = True
    return _label(water, cut_east.reshape(water.shape), cut_south.reshape(water.shape))


def area_reach(
    water: NDArray[np.bool_],
    east: Crossings,
    south: Crossings,
    line_depth_m: NDArray[np.float64],
    data: tuple[NDArray[np.int64], NDArray[np.float64]],
) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
    """Label the areas between lines and find the depths of the lines round each, and of its data.

    Parameters
    ----------
    water
        Centres that are water.
    east, south
        Crossings of the shoreline and of all contours with the links.
    line_depth_m
        Depth of each line.
    data
        Flat index and depth of centres with data.

    Returns
    -------
    Area of each centre (0 on land), and by area (4, count + 1): least depth of its lines and minus the greatest of
    them, the same of its data; infinite where there are none.
    """
    label, count = label_areas(water, east, south)
    reach = np.full((4, count + 1), np.inf)
    node, line = _events(east, south, water.shape[1])
    area, depth = label.ravel()[node], line_depth_m[line]
    np.minimum.at(reach[0], area, depth)
    np.minimum.at(reach[1], area, -depth)
    node, depth = data
    np.minimum.at(reach[2], label.ravel()[node], depth)
    np.minimum.at(reach[3], label.ravel()[node], -depth)
    return label, reach


def limits_of(
    reach: NDArray[np.float64], line_depth_m: NDArray[np.float64], *, contoured: bool
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Find the least and greatest depth that areas can hold.

    Parameters
    ----------
    reach
        As `area_reach` gives it; an area reaches at least as far as its data.
    line_depth_m
        Depths of all lines.
    contoured
        Whether the lines are a full set of contours. Then an area bounded by one depth only (round a top or in a
        hollow) stays within the next contour on either side: had the bottom passed it, it would have been drawn.
    """
    low, high = reach[0].copy(), -reach[1]
    if contoured:
        known = np.unique(np.concatenate([line_depth_m, [0.0]]))
        step = float(np.median(np.diff(known))) if len(known) > 1 else 0.0
        one = np.flatnonzero((low == high) & np.isfinite(low))
        place = np.searchsorted(known, low[one])
        rungs = np.concatenate([[known[0] - step], known, [known[-1] + step]])
        high[one] = rungs[place + 2]
        low[one] = np.maximum(rungs[place], 0.0)
    low, high = np.minimum(low, reach[2]), np.maximum(high, -reach[3])
    empty = ~np.isfinite(low)
    low[empty], high[empty] = 0.0, 0.0
    return low.astype(np.float32), high.astype(np.float32)


def depth_limits(
    water: NDArray[np.bool_],
    east: Crossings,
    south: Crossings,
    line_depth_m: NDArray[np.float64],
    data: tuple[NDArray[np.int64], NDArray[np.float64]],
    *,
    contoured: bool,
) -> tuple[NDArray[np.int32], NDArray[np.float32], NDArray[np.float32]]:
    """Label the areas between lines and find the least and greatest depth each can hold.

    Parameters and rules are those of `area_reach` and `limits_of`.

    Returns
    -------
    Area of each centre (0 on land), and the limits by area.
    """
    label, reach = area_reach(water, east, south, line_depth_m, data)
    return label, *limits_of(reach, line_depth_m, contoured=contoured)


class JoinedAreas:
    """What blocks find of areas, brought together for whole areas.

    Each block labels a window that reaches at least one centre beyond its core, and the cores cover the grid. An area
    that leaves a core does so over a link both ends of which lie in the window; so it is enough to join the labels that
    two blocks give to the centres on either side of the cores' edges.
    """

    def __init__(self, columns: int) -> None:
        self._columns = columns
        self._count = 0
        self._cells: list[NDArray[np.int64]] = []
        self._areas: list[NDArray[np.int64]] = []
        self._reach: list[NDArray[np.float64]] = []
        self._first: list[int] = []

    def add(
        self,
        label: NDArray[np.int32],
        reach: NDArray[np.float64],
        corner: tuple[int, int],
        core: tuple[int, int, int, int],
    ) -> int:
        """Take in a block.

        Parameters
        ----------
        label
            Area of each centre of the window, 0 on land.
        reach
            (k, labels + 1): numbers of which the least counts for the whole area.
        corner
            Row and column of the window's first centre on the whole grid.
        core
            First row, row after the last, first column and column after the last of the block, on the whole grid.

        Returns
        -------
        The number by which `reach_of` knows the block.
        """
        top, bottom, left, right = core
        rows = np.arange(max(top - 1, corner[0]), min(bottom + 1, corner[0] + label.shape[0]))
        columns = np.arange(max(left - 1, corner[1]), min(right + 1, corner[1] + label.shape[1]))
        edge = label[np.ix_(rows - corner[0], columns - corner[1])].copy()
        inner_rows = (rows > top) & (rows < bottom - 1)
        inner_columns = (columns > left) & (columns < right - 1)
        edge[np.ix_(inner_rows, inner_columns)] = 0
        r, c = np.nonzero(edge)
        self._cells.append(rows[r] * self._columns + columns[c])
        self._areas.append(self._count + edge[r, c].astype(np.int64))
        self._first.append(self._count)
        self._reach.append(reach)
        self._count += reach.shape[1]
        return len(self._first) - 1

    def join(self) -> None:
        """Bring the blocks together; after the last one was taken in."""
        if not self._cells:
            return
        cell, area = np.concatenate(self._cells), np.concatenate(self._areas)
        order = np.argsort(cell, kind="stable")
        cell, area = cell[order], area[order]
        same = cell[1:] == cell[:-1]
        links = (area[:-1][same], area[1:][same])
        graph = coo_array((np.ones(len(links[0]), dtype=np.int8), links), shape=(self._count, self._count))
        count, whole = connected_components(graph.tocsr(), directed=False)
        reach = np.concatenate(self._reach, axis=1)
        least = np.full((reach.shape[0], count), np.inf)
        for k in range(len(reach)):
            np.minimum.at(least[k], whole, reach[k])
        joined = least[:, whole]
        for k, first in enumerate(self._first):
            self._reach[k] = joined[:, first : first + self._reach[k].shape[1]]

    def reach_of(self, block: int) -> NDArray[np.float64]:
        """Give the numbers of the whole areas by the labels of a block."""
        return self._reach[block]
