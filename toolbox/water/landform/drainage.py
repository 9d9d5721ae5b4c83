"""Where the bottom would drain to if the water were gone: the way down from every cell, and the stems it gathers in."""

from __future__ import annotations

import heapq
from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import label

from ...compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...arrays import Flags, Ints


@compiled
def _deepest(depth: NDArray[np.float32], waters: NDArray[np.int32], count: int) -> Ints:
    """Give the deepest cell of each water, the first of equals."""
    rows, columns = depth.shape
    pits = np.full(count, -1, dtype=np.int64)
    for r in range(rows):
        for c in range(columns):
            water = waters[r, c] - 1
            if water < 0:
                continue
            pit = pits[water]
            if pit < 0 or depth[r, c] > depth[pit // columns, pit % columns]:
                pits[water] = r * columns + c
    return pits


@compiled
def _flood(
    depth: NDArray[np.float32],
    waters: NDArray[np.int32],
    pits: Ints,
    down: NDArray[np.int32],
    order: NDArray[np.int32],
) -> int:
    """Fill the waters upward from their pits; every cell drains to the neighbour it was reached from.

    `order` receives the cells as they are reached, so each comes after the one it drains to.
    """
    rows, columns = depth.shape
    queue = [(np.float32(0.0), np.int32(0)) for _ in range(0)]
    reached = np.zeros(rows * columns, dtype=np.bool_)
    for pit in pits:
        heapq.heappush(queue, (np.float32(-depth[pit // columns, pit % columns]), np.int32(pit)))
        reached[pit] = True
        down[pit] = -1
    count = 0
    while len(queue) > 0:
        height, cell = heapq.heappop(queue)
        order[count] = cell
        count += 1
        r, c = cell // columns, cell % columns
        # The sides before the corners: of equal ways the straight one is taken.
        for turn in range(8):
            if turn < 4:
                rr = r + (1 if turn == 0 else -1 if turn == 1 else 0)
                cc = c + (1 if turn == 2 else -1 if turn == 3 else 0)
            else:
                rr, cc = r + (1 if turn % 2 else -1), c + (1 if turn < 6 else -1)
            if rr < 0 or rr >= rows or cc < 0 or cc >= columns or waters[rr, cc] == 0:
                continue
            other = rr * columns + cc
            if reached[other]:
                continue
            reached[other] = True
            down[other] = cell
            # A hollow is filled to the height it is entered at.
            heapq.heappush(queue, (max(height, np.float32(-depth[rr, cc])), np.int32(other)))
    return count


@compiled
def _gather(down: NDArray[np.int32], order: NDArray[np.int32], count: int, cells: NDArray[np.int32]) -> None:
    for k in range(count - 1, -1, -1):
        cell = order[k]
        cells[cell] += 1
        if down[cell] >= 0:
            cells[down[cell]] += cells[cell]


@compiled
def _stems(
    down: NDArray[np.int32],
    order: NDArray[np.int32],
    count: int,
    cells: NDArray[np.int32],
    least: int,
    stems: NDArray[np.int32],
    ends: Ints,
) -> int:
    """Write the stems one after the other, each from its mouth upward; give their number."""
    size = down.size
    main = np.full(size, -1, dtype=np.int32)  # of the cells that drain into one, that which brings most
    second = np.full(size, -1, dtype=np.int32)
    for k in range(count):
        cell = order[k]
        below = down[cell]
        if below < 0 or cells[cell] < least:
            continue
        if main[below] < 0 or cells[cell] > cells[main[below]]:
            second[below] = main[below]
            main[below] = cell
        elif second[below] < 0 or cells[cell] > cells[second[below]]:
            second[below] = cell
    found, used = 0, 0
    for k in range(count):
        mouth = order[k]
        below = down[mouth]
        if cells[mouth] < least or (below >= 0 and main[below] == mouth):
            continue
        if below < 0 and second[mouth] >= 0:
            # A pit joins the two arms that come down to it into one stem.
            begin = used
            at = second[mouth]
            while at >= 0:
                stems[used] = at
                used += 1
                at = main[at]
            for i in range((used - begin) // 2):
                swap = stems[begin + i]
                stems[begin + i] = stems[used - 1 - i]
                stems[used - 1 - i] = swap
        elif below >= 0:
            if second[below] == mouth and down[below] < 0:
                continue  # the second arm of a pit, joined already
            stems[used] = below  # a stem begins where it comes out
            used += 1
        at = mouth
        while at >= 0:
            stems[used] = at
            used += 1
            at = main[at]
        ends[found] = used
        found += 1
    return found


def drained(
    depth_m: NDArray[np.float32], water: Flags
) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]]:
    """Drain every water to its deepest cell.

    Parameters
    ----------
    depth_m
        Depths, known wherever `water` is.
    water
        Cells that hold water; waters that touch, across a corner too, are one.

    Returns
    -------
    down, order, cells
        For every cell the number (row times columns plus column) of the neighbour it drains to, -1 for the deepest
        cell of a water and for land; the water's cells in an order in which each comes after the one it drains to;
        and how many cells drain through each, itself included.

    Notes
    -----
    Priority flood (Wang and Liu 2006, International Journal of Geographical Information Science 20, 193-213; Barnes,
    Lehman and Mulla 2014, Computers and Geosciences 62, 117-127), begun at the deepest cell and not at the rim, since
    a lake's bottom drains inward. The time grows as n log n.
    """
    found, count = label(water, structure=np.ones((3, 3)))
    waters: NDArray[np.int32] = np.asarray(found, dtype=np.int32)
    down = np.full(depth_m.size, -1, dtype=np.int32)
    order = np.empty(depth_m.size, dtype=np.int32)
    cells = np.zeros(depth_m.size, dtype=np.int32)
    reached = _flood(depth_m, waters, _deepest(depth_m, waters, count), down, order)
    _gather(down, order, reached, cells)
    return down, order[:reached], cells


def stems(
    down: NDArray[np.int32], order: NDArray[np.int32], cells: NDArray[np.int32], *, least_cells: int
) -> list[NDArray[np.int32]]:
    """Follow what is gathered upward.

    Parameters
    ----------
    down, order, cells
        As `drained` gives them.
    least_cells
        A stem ends upward where fewer cells than this drain through.

    Returns
    -------
    Numbers of the cells of each stem. At a meeting the arm that gathers more goes on and the other begins a stem
    of its own; the two greatest arms that come down to a deepest cell are one stem.
    """
    most = int(np.count_nonzero(cells >= least_cells))
    # Every cell is in one stem, and each stem may repeat the cell it comes out at.
    line = np.empty(2 * most + 1, dtype=np.int32)
    ends = np.empty(most + 1, dtype=np.int64)
    found = _stems(down, order, len(order), cells, least_cells, line, ends)
    return np.split(line[: ends[found - 1]], ends[: found - 1]) if found else []
