"""The thinnest place on the deepest way between places: what a rise of the water has to drown."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ...arrays import Floats, Ints
from ...compiled import compiled

if TYPE_CHECKING:
    from ...depth import DepthSurface


@dataclass(frozen=True)
class Sill:
    """The thinnest place on the deepest way: its depth, negative where it stands dry, and its middle."""

    depth_m: float
    x: float
    y: float


@compiled
def _root(parent: Any, cell: int) -> int:
    while parent[cell] != cell:
        parent[cell] = parent[parent[cell]]
        cell = parent[cell]
    return cell


@compiled
def _sills(order: Any, rows: int, columns: int, start: int, stops: Any) -> Any:
    """Cell that joins each stop to the start when cells are drowned one by one from the deepest; -1 where none does."""
    parent = np.full(rows * columns, -1, np.int32)
    asked = np.zeros(rows * columns, np.int32)  # stops that hang on each root
    for s in range(len(stops)):
        asked[stops[s]] += 1
    joined = np.full(len(stops), -1, np.int64)
    left = len(stops)
    for k in range(len(order)):
        cell = order[k]
        parent[cell] = cell
        news = cell == start and asked[cell] > 0
        row, column = cell // columns, cell % columns
        for up in range(-1, 2):
            for right in range(-1, 2):
                r, c = row + up, column + right
                if r < 0 or r >= rows or c < 0 or c >= columns:
                    continue
                if parent[r * columns + c] < 0:
                    continue
                one, two = _root(parent, cell), _root(parent, r * columns + c)
                if one == two:
                    continue
                if parent[start] >= 0 and (asked[one] > 0 or asked[two] > 0):
                    home = _root(parent, start)
                    if one == home or two == home:  # noqa: PLR1714  # the compiler knows no mixed tuples
                        news = True
                parent[two] = one
                asked[one] += asked[two]
        if not news:
            continue
        home = _root(parent, start)
        for s in range(len(stops)):
            if joined[s] < 0 and parent[stops[s]] >= 0 and _root(parent, stops[s]) == home:
                joined[s] = cell
                left -= 1
                asked[home] -= 1
        if left == 0:
            break
    return joined


@compiled
def _deepest_first(depth_m: Any) -> Any:
    """Sort cells with a depth from the deepest on; of equal ones the first comes first.

    By digits of 11 bits from the lowest on (radix sort): the bits of a float, its sign bit turned or all of them, have
    the order of the numbers.
    """
    count = 0
    for cell in range(depth_m.size):
        count += np.isfinite(depth_m[cell])
    cells, other_cells = np.empty(count, np.int32), np.empty(count, np.int32)
    values = np.empty(count, np.float32)
    k = 0
    for cell in range(depth_m.size):
        if np.isfinite(depth_m[cell]):
            cells[k] = cell
            values[k] = depth_m[cell] + np.float32(0.0)  # no negative zero
            k += 1
    keys, other_keys = values.view(np.uint32), np.empty(count, np.uint32)
    for k in range(count):
        if keys[k] & np.uint32(0x80000000) == 0:  # positive: the deeper, the smaller
            keys[k] = keys[k] ^ np.uint32(0x7FFFFFFF)
    for digit in range(3):
        shift = np.uint32(11 * digit)
        begins = np.zeros(2049, np.int64)
        for k in range(count):
            begins[((keys[k] >> shift) & np.uint32(0x7FF)) + 1] += 1
        for k in range(2048):
            begins[k + 1] += begins[k]
        for k in range(count):
            held = (keys[k] >> shift) & np.uint32(0x7FF)
            place = begins[held]
            begins[held] += 1
            other_keys[place], other_cells[place] = keys[k], cells[k]
        keys, other_keys = other_keys, keys
        cells, other_cells = other_cells, cells
    return cells


def _cells(depth: DepthSurface, xy: Floats) -> Ints:
    """Find the number of the cell each point lies in; -1 off the surface."""
    rows, columns = depth.shape
    column = np.floor((xy[:, 0] - depth.west_m) / depth.cell_x_m).astype(np.int64)
    row = np.floor((depth.north_m - xy[:, 1]) / depth.cell_y_m).astype(np.int64)
    on = (column >= 0) & (column < columns) & (row >= 0) & (row < rows)
    return np.where(on, row * columns + column, -1)


def sills(depth: DepthSurface, start: Any, stops: Any) -> list[Sill | None]:
    """Find the thinnest place on the deepest way from a start to each stop.

    Parameters
    ----------
    depth
        Depths; land counts where its height is known (negative), unknown cells bar the way.
    start
        Point (2,).
    stops
        Points (n, 2).

    Returns
    -------
    For each stop the shallowest cell of the way whose shallowest cell is deepest, over eight neighbours; the stop
    and the start count. None where unknown cells or the surface's edge bar every way.

    Notes
    -----
    Cells are drowned from the deepest on until start and stop hang together. A way needs width as well, so the depth
    is an upper limit: water that gives this cell the depth a boat needs is the least that can open a way.
    """
    places = np.concatenate([np.reshape(start, (1, 2)), np.reshape(stops, (-1, 2))]).astype(np.float64)
    cell = _cells(depth, places)
    flat = depth.depth_m.ravel()
    order = _deepest_first(flat)
    usable = (cell >= 0) & np.isfinite(flat[np.maximum(cell, 0)])
    found: list[Sill | None] = [None] * (len(places) - 1)
    asked = np.flatnonzero(usable[1:])
    if not usable[0] or not len(asked):
        return found
    joined = _sills(order, *depth.shape, int(cell[0]), cell[1:][asked])
    for row, sill in zip(asked.tolist(), joined.tolist(), strict=True):
        if sill >= 0:
            r, c = divmod(sill, depth.shape[1])
            found[row] = Sill(float(flat[sill]), float(depth.xs[c]), float(depth.ys[r]))
    return found
