"""Closed rises of the bottom and the cols between them, by flooding from the shallow side.

Cells are taken from shallow to deep; each joins the rises it touches. Where two rises meet, the lower one closes: its
relief is the depth of that meeting minus the depth of its top (the persistence of a merge tree; Carr, Snoeyink and Axen
2003, Computational Geometry 24, 75-94). Land and everything unknown stand above all tops, so islands are no rises, and
a rise that reaches the shore or the end of the survey closes there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...errors import DataError
from ..compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

_DOWN = np.array([-1, -1, 0, 1, 1, 1, 0, -1], dtype=np.int64)  # the eight neighbours in a circle
_RIGHT = np.array([0, 1, 1, 1, 0, -1, -1, -1], dtype=np.int64)


@dataclass(frozen=True, eq=False)
class Rises:
    """Closed rises, by the cells of their tops (flat indices).

    `closes_m` is the depth at which each closes, `own_m` the depth down to which it stands alone: less, where a lower
    rise joins it. `outermost` tells which close on the bank and not on a higher rise.
    """

    top: NDArray[np.int64]
    closes_m: NDArray[np.float64]
    own_m: NDArray[np.float64]
    outermost: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Cols:
    """Cols: their cell (flat index), and which two of the rises they lie between."""

    cell: NDArray[np.int64]
    one: NDArray[np.int64]
    other: NDArray[np.int64]


@compiled
def _longer(table: NDArray[np.float64]) -> NDArray[np.float64]:
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
) -> NDArray[np.float64]:
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
            rr, cc = r + _DOWN[way], c + _RIGHT[way]
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
                    rises = _longer(rises)
                rises[count, 0] = root
                rises[count, 1] = flat[cell]
                rises[count, 2] = eldest
                count += 1
            else:
                owner[root] = eldest
    return rises[:count]


@compiled
def _shallower(flat: NDArray[np.float32], one: int, other: int) -> bool:
    return bool(flat[one] < flat[other] or (flat[one] == flat[other] and one < other))


@compiled
def _climb(depth: NDArray[np.float32], cell: int) -> int:
    """Walk from cell to shallowest neighbour up to a local top; -1 when the way leads out of the water."""
    rows, columns = depth.shape
    flat = depth.ravel()
    while True:
        r, c = cell // columns, cell % columns
        best = cell
        for way in range(8):
            rr, cc = r + _DOWN[way], c + _RIGHT[way]
            if rr < 0 or cc < 0 or rr >= rows or cc >= columns or not depth[rr, cc] > 0:
                return -1
            if _shallower(flat, rr * columns + cc, best):
                best = rr * columns + cc
        if best == cell:
            return cell
        cell = best


@compiled
def _holder(owner: NDArray[np.int32], top: int) -> int:
    while owner[top] != top:
        top = owner[top]
    return top


@compiled
def _passes(depth: NDArray[np.float32], owner: NDArray[np.int32]) -> NDArray[np.float64]:
    """Find cells from which the bottom rises on two sides, and the tops of the two different rises it rises to."""
    rows, columns = depth.shape
    outside = rows * columns
    out = np.empty((64, 3))
    flat = depth.ravel()
    found = 0
    up = np.empty(8, dtype=np.bool_)
    tops = np.empty(4, dtype=np.int64)
    for r in range(1, rows - 1):
        for c in range(1, columns - 1):
            if not depth[r, c] > 0:
                continue
            cell = r * columns + c
            known = True
            for way in range(8):
                near = (r + _DOWN[way]) * columns + c + _RIGHT[way]
                known = known and flat[near] > 0
                up[way] = _shallower(flat, near, cell)
            if not known:
                continue
            # A deeper corner between two shallower sides does not part them: cells touch across corners.
            for way in range(1, 8, 2):
                if up[way - 1] and up[(way + 1) % 8]:
                    up[way] = True
            arcs = 0
            for way in range(8):
                if up[way] and not up[way - 1]:
                    best = -1
                    turn = way
                    while up[turn % 8]:
                        near = (r + _DOWN[turn % 8]) * columns + c + _RIGHT[turn % 8]
                        if best < 0 or _shallower(flat, near, best):
                            best = near
                        turn += 1
                    tops[arcs] = best
                    arcs += 1
            if arcs < 2:
                continue
            for k in range(arcs):
                top = _climb(depth, tops[k])
                tops[k] = outside if top < 0 else _holder(owner, top)
            for k in range(arcs):
                for j in range(k):
                    if tops[k] != tops[j] and tops[k] != outside and tops[j] != outside:
                        if found == out.shape[0]:
                            out = _longer(out)
                        out[found, 0] = cell
                        out[found, 1] = min(tops[k], tops[j])
                        out[found, 2] = max(tops[k], tops[j])
                        found += 1
    return out[:found]


@compiled
def rise_cells(depth: NDArray[np.float32], top: int, level: float) -> NDArray[np.int64]:
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
    top = _climb(depth, cell)
    if top >= 0:
        top = _holder(owner, top)
    return -1 if top == depth.size else top


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
    flat = depth_m.ravel()
    with np.errstate(invalid="ignore"):
        water = np.flatnonzero(flat > 0).astype(np.int32)
    order = water[np.argsort(flat[water], kind="stable")]
    del water
    owner = np.full(size + 1, -1, dtype=np.int32)
    table = _flood(np.ascontiguousarray(depth_m), order, least_relief_m, least_cells, owner)
    table = table[np.argsort(table[:, 0], kind="stable")]
    top, closes_m, on = table[:, 0].astype(np.int64), table[:, 1], table[:, 2].astype(np.int64)
    own_m, outermost = closes_m.copy(), on == size
    # What a rise closes on, other than the bank, is a rise itself: its top is shallower, so its relief is greater.
    np.minimum.at(own_m, np.searchsorted(top, on[~outermost]), closes_m[~outermost])
    return Rises(top, closes_m, own_m, outermost), owner


def cols_between(depth_m: NDArray[np.float32], rises: Rises, owner: NDArray[np.int32]) -> Cols:
    """Find the lowest cut in the crest from one rise to the next: of all passes between two rises the shallowest.

    Parameters
    ----------
    depth_m
        The grid that was flooded.
    rises, owner
        What `closed_rises` gave for it.
    """
    passes = _passes(np.ascontiguousarray(depth_m), owner).astype(np.int64)
    depth = depth_m.ravel()[passes[:, 0]]
    order = np.lexsort((passes[:, 0], depth, passes[:, 2], passes[:, 1]))
    passes = passes[order]
    first = np.ones(len(passes), dtype=bool)
    first[1:] = (np.diff(passes[:, 1]) != 0) | (np.diff(passes[:, 2]) != 0)
    cell, one, other = passes[first].T
    return Cols(cell, np.searchsorted(rises.top, one), np.searchsorted(rises.top, other))
