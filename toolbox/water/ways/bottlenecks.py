"""The thinnest place on the deepest way between places, and the narrowest on the widest."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, minimum_spanning_tree

from ...arrays import Floats, Ints
from ...compiled import compiled
from ...errors import DataError
from .navigation import SafeWater
from .network import lengths

if TYPE_CHECKING:
    from ...depth import DepthSurface
    from .mesh import Mesh


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


@dataclass(frozen=True, eq=False)
class Strait:
    """The narrowest place of the widest way: its width, and its middle."""

    width_m: float
    x: float
    y: float


def _next(half_edge: Ints) -> Ints:
    return np.where(half_edge % 3 == 2, half_edge - 2, half_edge + 1)


def _dot(a: Floats, b: Floats) -> Floats:
    return np.asarray(a[:, 0] * b[:, 0] + a[:, 1] * b[:, 1])


def _feet(mesh: Mesh, up_to_m: float) -> tuple[Ints, Floats]:
    """Points of the shore straight across from corners: the half-edges they lie on, and how far along (0 to 1).

    A strait is narrowest between two corners or between a corner and its foot on the shore opposite. From the corner
    the shore is sought across edge after edge; where the foot on an edge lies beyond its ends, one of them is nearer.
    """
    vertex = mesh.triangles.ravel()
    corner = np.arange(len(vertex))
    half_edge = _next(corner)
    found: list[Ints] = []
    shares: list[Floats] = []
    while len(corner):
        a, b, c = mesh.xy[vertex[half_edge]], mesh.xy[vertex[_next(half_edge)]], mesh.xy[vertex[corner]]
        along = b - a
        share = _dot(c - a, along) / _dot(along, along)
        near = (share > 0.0) & (share < 1.0) & (lengths(a + share[:, None] * along - c) < up_to_m)
        shore = mesh.twin[half_edge] < 0
        found.append(half_edge[near & shore])
        shares.append(share[near & shore])
        onward = np.flatnonzero(near & ~shore)
        crossed = mesh.twin[half_edge[onward]]
        corner = np.tile(corner[onward], 2)
        half_edge = np.concatenate([_next(crossed), _next(_next(crossed))])
    return np.concatenate([np.empty(0, dtype=np.int64), *found]), np.concatenate([np.empty(0), *shares])


def _with_feet(water: SafeWater, up_to_m: float) -> SafeWater:
    """Give a water a vertex on the shore wherever a corner is straight across."""
    mesh = water.mesh
    half_edge, share = _feet(mesh, up_to_m)
    shore = np.flatnonzero(mesh.twin < 0)
    ends = mesh.triangles.ravel()
    start = ends[shore]
    # Walk each ring of the shore once; the vertices of an edge come in the order of their share.
    edge_of = np.full(len(mesh.xy), -1, dtype=np.int64)
    edge_of[start] = shore
    order = np.lexsort((share, half_edge))
    half_edge, share = half_edge[order], share[order]
    rings: list[Floats] = []
    left = np.ones(len(mesh.xy), dtype=bool)
    after = mesh.after.tolist()
    for first in start.tolist():
        if not left[first]:
            continue
        ring = [first]
        while after[ring[-1]] != first:
            ring.append(after[ring[-1]])
        left[ring] = False
        rings.append(_ring(mesh, np.asarray(ring), edge_of, (half_edge, share)))
    try:
        # Even-odd filling turns any set of rings that do not cross into the water between them.
        area = shapely.build_area(shapely.multilinestrings([shapely.LinearRing(ring) for ring in rings]))
        return SafeWater.build(area)
    except (DataError, shapely.errors.GEOSException):
        # Rounding made rings touch; without the feet the widths are upper limits, seldom far from the truth.
        return water


def _ring(mesh: Mesh, ring: Ints, edge_of: Ints, feet: tuple[Ints, Floats]) -> Floats:
    edges = edge_of[ring]
    low, high = np.searchsorted(feet[0], edges, "left"), np.searchsorted(feet[0], edges, "right")
    counts = high - low
    row = np.repeat(np.arange(len(ring)), counts)
    number = np.arange(len(row)) - np.repeat(np.cumsum(counts) - counts, counts)
    share = feet[1][low[row] + number]
    here, there = mesh.xy[ring], mesh.xy[np.roll(ring, -1)]
    points = np.concatenate([here, here[row] + share[:, None] * (there - here)[row]])
    order = np.lexsort(
        (np.concatenate([np.full(len(ring), -1.0), share]), np.concatenate([np.arange(len(ring)), row]))
    )
    points = points[order]
    return points[np.any(points != np.roll(points, 1, axis=0), axis=1)]


def _widest(mesh: Mesh, start: Ints) -> tuple[Floats, Ints]:
    """Narrowest edge on the widest way from some triangles to each: its width (0 where no way leads) and half-edge."""
    half_edge = np.flatnonzero(mesh.twin > np.arange(len(mesh.twin)))
    ends = mesh.triangles.ravel()
    width = lengths(mesh.xy[ends[_next(half_edge)]] - mesh.xy[ends[half_edge]])
    one, other = half_edge // 3, mesh.twin[half_edge] // 3
    count = len(mesh.triangles)
    # Wide is near: the smallest spanning tree of narrowness holds the widest ways. The starts hang on one root.
    rows, columns = np.concatenate([one, np.full(len(start), count)]), np.concatenate([other, start])
    narrow = np.concatenate([1.0 / width, np.full(len(start), 1e-12)])
    tree = minimum_spanning_tree(csr_array((narrow, (rows, columns)), shape=(count + 1, count + 1)))
    order, parent = breadth_first_order(tree, count, directed=False)
    held = dict(zip(zip(one.tolist(), other.tolist(), strict=True), range(len(one)), strict=True))
    best, place = [0.0] * (count + 1), [-1] * (count + 1)
    best[count] = np.inf
    above, wide = parent.tolist(), width.tolist()
    for node in order[1:].tolist():  # parents come before children
        come = above[node]
        link = -1 if come == count else held[node, come] if (node, come) in held else held[come, node]
        best[node], place[node] = best[come], place[come]
        if link >= 0 and wide[link] < best[node]:
            best[node], place[node] = wide[link], int(half_edge[link])
    return np.asarray(best), np.asarray(place)


def narrowest(water: SafeWater, start: Any, stops: Any, *, up_to_m: float = np.inf) -> list[Strait | None]:
    """Find the narrowest place on the widest way from a start to each stop.

    Parameters
    ----------
    water
        A water, not shrunk.
    start
        Point (2,) on it.
    stops
        Points (n, 2).
    up_to_m
        Straits wider than this need not be measured exactly. Saves time.

    Returns
    -------
    Width and place for each stop; None where a stop or the start is off the water or in another, or where
    nothing narrows the way between them.

    Notes
    -----
    The width is the diameter of the largest disc that can pass, so it counts twice the clearance. A way is narrowest
    where that disc touches two shores on opposite sides. It then touches nothing else, so the two points are joined
    in a Delaunay triangulation that has both as vertices (K. R. Gabriel and R. R. Sokal, Systematic Zoology 18 (1969),
    259-278); the way has to cross that edge. How near the start or a stop itself lies to a shore does not enter.
    """
    points = np.concatenate([np.reshape(start, (1, 2)), np.reshape(stops, (-1, 2))]).astype(np.float64)
    fine = _with_feet(water, up_to_m)
    point, triangle = fine.holding(points)
    own = triangle[point == 0]
    if not len(own):
        return [None] * (len(points) - 1)
    best, place = _widest(fine.mesh, own)
    ends = fine.mesh.triangles.ravel()
    found: list[Strait | None] = []
    for row in range(1, len(points)):
        held = triangle[point == row]
        widest = int(held[np.argmax(best[held])]) if len(held) else -1
        if widest < 0 or place[widest] < 0:
            found.append(None)
        else:
            edge = place[[widest]]
            x, y = ((fine.mesh.xy[ends[edge]] + fine.mesh.xy[ends[_next(edge)]])[0] / 2.0).tolist()
            found.append(Strait(float(best[widest]), x, y))
    return found
