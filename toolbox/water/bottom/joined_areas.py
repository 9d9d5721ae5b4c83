"""Areas that were labelled block by block, joined over the edges of the blocks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

if TYPE_CHECKING:
    from numpy.typing import NDArray


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
