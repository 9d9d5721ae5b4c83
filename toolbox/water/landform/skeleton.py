"""Lines through the middle of bands of cells: the longest ways along their crest, branch by branch."""

from __future__ import annotations

import heapq
from typing import TYPE_CHECKING

import numpy as np

from ...compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...arrays import Flags, Floats, Indices, Ints

_OFF_CREST = 4.0  # a step off the crest counts as this many along it, so that ways keep to the crest


@compiled
def _spread(
    start: int,
    band: Flags,
    crest: Flags,
    cell_x: float,
    cell_y: float,
    away: Floats,
    parent: NDArray[np.int32],
    order: NDArray[np.int32],
) -> int:
    """Cheapest ways from a cell through its band (Dijkstra 1959); cells in the order reached, and how many."""
    rows, columns = band.shape
    queue = [(0.0, np.int64(start))]
    away[start] = 0.0
    parent[start] = -1
    count = 0
    while len(queue) > 0:
        cost, cell = heapq.heappop(queue)
        if cost > away[cell]:
            continue
        order[count] = cell
        count += 1
        r, c = cell // columns, cell % columns
        for down in range(-1, 2):
            for right in range(-1, 2):
                rr, cc = r + down, c + right
                if (down == 0 and right == 0) or rr < 0 or rr >= rows or cc < 0 or cc >= columns:
                    continue
                if not band[rr, cc]:
                    continue
                step = np.hypot(down * cell_y, right * cell_x)
                reached = cost + (step if crest[rr, cc] else step * _OFF_CREST)
                other = rr * columns + cc
                if reached < away[other]:
                    away[other] = reached
                    parent[other] = cell
                    heapq.heappush(queue, (reached, other))
    return count


@compiled
def _ways(
    band: Flags,
    crest: Flags,
    cell_x: float,
    cell_y: float,
    least: float,
    ways: Ints,
    ends: Ints,
) -> int:
    """Write the ways one after the other to `ways`, where each ends to `ends`; give their number."""
    rows, columns = band.shape
    size = rows * columns
    away = np.full(size, np.inf)
    parent = np.full(size, -1, dtype=np.int32)
    taken = np.zeros(size, dtype=np.bool_)
    order = np.empty(size, dtype=np.int32)
    found, used = 0, 0
    for cell in range(size):
        if not crest[cell // columns, cell % columns] or away[cell] < np.inf:
            continue
        count = _spread(cell, band, crest, cell_x, cell_y, away, parent, order)
        farthest = order[count - 1]
        if away[farthest] == 0.0:
            continue
        for k in range(count):
            away[order[k]] = np.inf
        count = _spread(farthest, band, crest, cell_x, cell_y, away, parent, order)
        # From the farthest cell inward: each way runs down the tree until it meets one that is taken already.
        for k in range(count - 1, -1, -1):
            begin = used
            at = order[k]
            length = 0.0
            while at >= 0 and not taken[at]:
                taken[at] = True
                ways[used] = at
                used += 1
                up = parent[at]
                if up >= 0:
                    length += np.hypot(
                        (up // columns - at // columns) * cell_y, (up % columns - at % columns) * cell_x
                    )
                at = up
            if length < least:
                used = begin
                continue
            ends[found] = used
            found += 1
    return found


def crest_lines(
    band: Flags,
    crest: Flags,
    cell_x_m: float,
    cell_y_m: float,
    *,
    least_m: float,
) -> list[tuple[Indices, Indices]]:
    """Trace lines through bands of cells.

    Parameters
    ----------
    band
        Cells a line may run through.
    crest
        Cells it runs through if it can; they count only where they are in the band.
    cell_x_m, cell_y_m
        Size of a cell.
    least_m
        Shorter lines are left out.

    Returns
    -------
    The cells of each line in order along it. In every piece of band the longest line comes first; the branches
    that follow end where they meet one before them. No cell is in two lines.

    Notes
    -----
    Double sweep to the two ends of a band, then the tree of cheapest ways taken apart longest first; the time grows
    as n log n with the cells of the bands. A ring is cut open where its two halves meet.
    """
    ways = np.empty(int(np.count_nonzero(band)) + 1, dtype=np.int64)
    ends = np.empty_like(ways)
    found = _ways(band, crest & band, cell_x_m, cell_y_m, least_m, ways, ends)
    pieces = np.split(ways[: ends[found - 1]] if found else ways[:0], ends[: max(found - 1, 0)])
    lines = []
    for piece in pieces:
        on_crest = np.flatnonzero(crest.ravel()[piece])
        if on_crest.size < 2:
            continue
        # A way begins in the band's farthest corner; the line begins on its crest.
        r, c = np.divmod(piece[on_crest[0] : on_crest[-1] + 1], band.shape[1])
        if np.hypot(np.diff(r) * cell_y_m, np.diff(c) * cell_x_m).sum() >= least_m:
            lines.append((r, c))
    return lines
