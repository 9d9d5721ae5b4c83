"""Closed rises of the bottom, by flooding from the shallow side.

Cells are taken from shallow to deep; each joins the rises it touches. Where two rises meet, the lower one closes: its
relief is the depth of that meeting minus the depth of its top (the persistence of a merge tree; Carr, Snoeyink and Axen
2003, Computational Geometry 24, 75-94). Land and everything unknown stand above all tops, so islands are no rises, and
a rise that reaches the shore or the end of the survey closes there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...compiled import compiled
from ...errors import DataError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...arrays import Flags, Floats, Ints

DOWN = np.array([-1, -1, 0, 1, 1, 1, 0, -1], dtype=np.int64)  # the eight neighbours in a circle
RIGHT = np.array([0, 1, 1, 1, 0, -1, -1, -1], dtype=np.int64)


@dataclass(frozen=True, eq=False)
class Rises:
    """Closed rises, by the cells of their tops (flat indices).

    `closes_m` is the depth at which each closes, `own_m` the depth down to which it stands alone: less, where a lower
    rise joins it. `outermost` tells which close on the bank and not on a higher rise.
    """

    top: Ints
    closes_m: Floats
    own_m: Floats
    outermost: Flags


@compiled
def longer(table: Floats) -> Floats:
    """Give a table twice as many rows."""
    out = np.empty((2 * table.shape[0], table.shape[1]))
    out[: table.shape[0]] = table
    return out


@compiled
def _root(parent: NDArray[np.int32], cell: int) -> int:
    while parent[cell] != cell:
        parent[cell] = parent[parent[cell]]
        cell = parent[cell]
    return cell


@compiled
def _flood(
    depth: NDArray[np.float32],
    order: NDArray[np.int32],
    least_relief: float,
    least_cells: int,
    owner: NDArray[np.int32],
) -> Floats:
    """Join cells in order; give top, depth of closing and what each rise closes on.

    Afterwards `owner` holds, at each local top, itself (a rise) or the top it belongs to. While a rise is open,
    its entry is the count of its cells. The last entry is all that is not water.
    """
    rows, columns = depth.shape
    outside = rows * columns
    flat = depth.ravel()
    parent = np.full(outside + 1, -1, dtype=np.int32)
    parent[outside] = outside
    owner[outside] = outside
    rises = np.empty((64, 3))
    count = 0
    near = np.empty(9, dtype=np.int64)
    for k in range(order.size):
        cell = int(order[k])
        r, c = cell // columns, cell % columns
        met = 0
        for way in range(8):
            rr, cc = r + DOWN[way], c + RIGHT[way]
            if rr < 0 or cc < 0 or rr >= rows or cc >= columns or not depth[rr, cc] > 0:
                root = outside
            elif parent[rr * columns + cc] >= 0:
                root = _root(parent, rr * columns + cc)
            else:
                continue
            new = True
            for j in range(met):
                new = new and near[j] != root
            if new:
                near[met] = root
                met += 1
        if met == 0:
            parent[cell] = cell
            owner[cell] = 1
            continue
        # The eldest: what is not water, else the one with the shallowest top; the order of cells settles ties.
        eldest = near[0]
        for j in range(1, met):
            root = near[j]
            if eldest == outside:
                break
            if root == outside or flat[root] < flat[eldest] or (flat[root] == flat[eldest] and root < eldest):
                eldest = root
        parent[cell] = eldest
        if eldest != outside:
            owner[eldest] += 1
        for j in range(met):
            root = near[j]
            if root == eldest:
                continue
            size = owner[root]
            parent[root] = eldest
            if eldest != outside:
                owner[eldest] += size
            if flat[cell] - flat[root] >= least_relief and size >= least_cells:
                owner[root] = root
                if count == rises.shape[0]:
                    rises = longer(rises)
                rises[count, 0] = root
                rises[count, 1] = flat[cell]
                rises[count, 2] = eldest
                count += 1
            else:
                owner[root] = eldest
    return rises[:count]


@compiled
def shallower(flat: NDArray[np.float32], one: int, other: int) -> bool:
    """Whether one cell comes before another; where depths are the same, the one with the lower index."""
    return bool(flat[one] < flat[other] or (flat[one] == flat[other] and one < other))


@compiled
def local_top(depth: NDArray[np.float32], cell: int) -> int:
    """Walk from cell to shallowest neighbour up to a local top; -1 when the way leads out of the water."""
    rows, columns = depth.shape
    flat = depth.ravel()
    while True:
        r, c = cell // columns, cell % columns
        best = cell
        for way in range(8):
            rr, cc = r + DOWN[way], c + RIGHT[way]
            if rr < 0 or cc < 0 or rr >= rows or cc >= columns or not depth[rr, cc] > 0:
                return -1
            if shallower(flat, rr * columns + cc, best):
                best = rr * columns + cc
        if best == cell:
            return cell
        cell = best


@compiled
def holder(owner: NDArray[np.int32], top: int) -> int:
    """Follow a local top to the top of the rise it belongs to."""
    while owner[top] != top:
        top = owner[top]
    return top


@compiled
def rise_cells(depth: NDArray[np.float32], top: int, level: float) -> Ints:
    """Cells that hang together with a top and are shallower than a level (flat indices)."""
    rows, columns = depth.shape
    flat = depth.ravel()
    cells = [top]
    seen = {top}
    k = 0
    while k < len(cells):
        r, c = cells[k] // columns, cells[k] % columns
        k += 1
        for down in range(-1, 2):
            for right in range(-1, 2):
                rr, cc = r + down, c + right
                if rr < 0 or cc < 0 or rr >= rows or cc >= columns:
                    continue
                near = rr * columns + cc
                if 0 < flat[near] < level and near not in seen:
                    seen.add(near)
                    cells.append(near)
    return np.array(cells)


@compiled
def climb(depth: NDArray[np.float32], owner: NDArray[np.int32], cell: int) -> int:
    """Follow the bottom up from a cell: the top of the rise it ends on, or -1 when it ends on the bank."""
    top = local_top(depth, cell)
    if top >= 0:
        top = holder(owner, top)
    return -1 if top == depth.size else top


def _by_depth(flat: NDArray[np.float32]) -> NDArray[np.int32]:
    """Give the cells of water from shallow to deep; where depths are the same, in their own order.

    The bits of floats above zero are in the order of the floats; with the cell behind them one plain sort does it.
    """
    with np.errstate(invalid="ignore"):
        water = np.flatnonzero(flat > 0)
    keys = flat[water].astype(np.float32, copy=False).view(np.uint32).astype(np.uint64) << np.uint64(32)
    keys |= water.astype(np.uint64)
    keys.sort()
    return np.asarray((keys & np.uint64(0xFFFFFFFF)).astype(np.int32))


def closed_rises(
    depth_m: NDArray[np.float32], least_relief_m: float, least_cells: int = 1
) -> tuple[Rises, NDArray[np.int32]]:
    """Find the rises that close over a relief.

    Parameters
    ----------
    depth_m
        Depth grid; what is NaN or not below the surface is no water.
    least_relief_m
        From top to closing, at least.
    least_cells
        The area a rise closes with, at least, in cells.

    Returns
    -------
    The rises by position of their tops, and whom each local top belongs to: at its flat index stands the local top it
    joined, at that of a rise the rise itself (one entry more stands for all that is not water). For `cols_between`.

    Raises
    ------
    DataError
        When the grid has more cells than can be counted in 32 bits.
    """
    size = depth_m.size
    if size >= np.iinfo(np.int32).max:
        raise DataError(
            f"The depth surface has {size} cells; up to {np.iinfo(np.int32).max - 1} can be searched at once. "
            "Take wider cells, or cut the lake into parts."
        )
    order = _by_depth(depth_m.ravel())
    owner = np.full(size + 1, -1, dtype=np.int32)
    table = _flood(np.ascontiguousarray(depth_m), order, least_relief_m, least_cells, owner)
    table = table[np.argsort(table[:, 0], kind="stable")]
    top, closes_m, on = table[:, 0].astype(np.int64), table[:, 1], table[:, 2].astype(np.int64)
    own_m, outermost = closes_m.copy(), on == size
    # What a rise closes on, other than the bank, is a rise itself: its top is shallower, so its relief is greater.
    np.minimum.at(own_m, np.searchsorted(top, on[~outermost]), closes_m[~outermost])
    return Rises(top, closes_m, own_m, outermost), owner
