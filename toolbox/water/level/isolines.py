"""Rings round the shallow side of a grid of depths, by marching triangles; never inside the true isobath."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...cache.machine_code import kept_code
from ...compiled import compiled, interpreted

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...arrays import Floats, Ints

# A depth nearer to the limit than this counts as shallow, so that no ring passes exactly through a node.
_NODE_GAP_M = 1e-4
# The ring is drawn at the limit plus this, far above the rounding of coordinates and far below any survey.
_ROUNDING_M = 1e-6
# How far along an edge the ring may run where the far node is outside the grid or unknown: anywhere in this share.
_OPEN_EDGE = (0.02, 0.5)
_PATCHES_AT_ONCE = 65_536
_FEW_NODES = 16_000  # the ground about a ramp


@compiled
def _value(depth: NDArray[np.floating], row: int, column: int, isobath: float) -> float:
    """Depth at a node; the rim round the grid (row or column 0 and the last) and unknown nodes are deep."""
    if row == 0 or column == 0 or row > depth.shape[0] or column > depth.shape[1]:
        return np.inf
    value = float(depth[row - 1, column - 1])
    if np.isnan(value):
        return np.inf
    return isobath - _NODE_GAP_M if abs(value - isobath) < _NODE_GAP_M else value


@compiled
def _flag_row(
    depth: NDArray[np.floating], row: int, isobath: float, limit: float, flags: NDArray[np.uint8], turn: int
) -> None:
    """Mark the shallow nodes of one row of the grid with its rim."""
    if row == 0 or row > depth.shape[0]:
        flags[turn, :] = 0
        return
    flags[turn, 0] = flags[turn, depth.shape[1] + 1] = 0
    for k in range(depth.shape[1]):
        value = float(depth[row - 1, k])
        near = abs(value - isobath) < _NODE_GAP_M
        flags[turn, k + 1] = np.uint8(near | (value < limit))


@kept_code
@compiled
def _mixed_patches(
    depth: NDArray[np.floating],
    isobath: float,
    limit: float,
    first_row: int,
    flags: NDArray[np.uint8],
    mixed: NDArray[np.uint8],
    eights: NDArray[np.uint64],
    found: Ints,
    told: Ints,
) -> int:
    """Find the patches whose four nodes are not all on one side, by the number of their upper left node.

    Rows are looked at from the first one on, as far as those found have room; given back is the row to go on with, and
    in `told` how many were found. `eights` is `mixed` eight patches at a time: few are mixed.
    """
    rows, columns = depth.shape[0] + 2, depth.shape[1] + 2
    count = 0
    _flag_row(depth, first_row, isobath, limit, flags, first_row % 2)
    for r in range(first_row, rows - 1):
        if count + columns > found.size:
            told[0] = count
            return r
        upper, lower = r % 2, (r + 1) % 2
        _flag_row(depth, r + 1, isobath, limit, flags, lower)
        for c in range(columns - 1):
            mixed[c] = (
                (flags[upper, c] ^ flags[lower, c])
                | (flags[upper, c] ^ flags[upper, c + 1])
                | (flags[lower, c] ^ flags[lower, c + 1])
            )
        for k in range(eights.size):
            if eights[k] != 0:
                for c in range(8 * k, 8 * k + 8):
                    if mixed[c] != 0:
                        found[count] = r * columns + c
                        count += 1
    told[0] = count
    return int(rows - 1)


@compiled
def _falls(depth: NDArray[np.floating], row: int, column: int, isobath: float) -> bool:
    """Whether the lower diagonal of a patch runs from upper left to lower right."""
    return bool(
        _value(depth, row, column, isobath) + _value(depth, row + 1, column + 1, isobath)
        <= _value(depth, row, column + 1, isobath) + _value(depth, row + 1, column, isobath)
    )


@compiled
def _join(
    steps: Ints,
    count: int,
    shallow: tuple[bool, bool, bool],
    edges: tuple[int, int, int],
) -> int:
    """Enter the ring's step through one triangle (counter-clockwise corners; edge k joins corners k and k+1)."""
    for k in range(3):
        ahead, behind = (k + 1) % 3, (k + 2) % 3
        if shallow[k] and not shallow[ahead] and not shallow[behind]:
            steps[count, 0], steps[count, 1] = edges[k], edges[behind]
            count += 1
        if not shallow[k] and shallow[ahead] and shallow[behind]:
            steps[count, 0], steps[count, 1] = edges[behind], edges[k]
            count += 1
    return count


@kept_code
@compiled
def _steps(depth: NDArray[np.floating], isobath: float, limit: float, patches: Ints, steps: Ints) -> int:
    """List the steps of rings from an edge to the edge crossed next, with the shallow side to the left, (n, 2).

    Edges of node (r, c) have the numbers 3 (r columns + c) + 0 to the right, + 1 down, + 2 the patch's diagonal. Given
    back is how many steps there are.
    """
    columns = depth.shape[1] + 2
    count = 0
    for place in range(patches.size):
        node = patches[place]
        r, c = node // columns, node % columns
        nw, ne = _value(depth, r, c, isobath) < limit, _value(depth, r, c + 1, isobath) < limit
        sw, se = _value(depth, r + 1, c, isobath) < limit, _value(depth, r + 1, c + 1, isobath) < limit
        north, west, diagonal = 3 * node, 3 * node + 1, 3 * node + 2
        south, east = 3 * (node + columns), 3 * (node + 1) + 1
        if _falls(depth, r, c, isobath):
            count = _join(steps, count, (nw, sw, se), (west, south, diagonal))
            count = _join(steps, count, (nw, se, ne), (diagonal, east, north))
        else:
            count = _join(steps, count, (ne, nw, sw), (north, west, diagonal))
            count = _join(steps, count, (ne, sw, se), (diagonal, south, east))
    return count


@compiled
def _gate(
    edge: int,
    depth: NDArray[np.floating],
    xs: Floats,
    ys: Floats,
    isobath: float,
    limit: float,
    tolerance: float,
) -> tuple[float, float, float, float]:
    """Nearest and farthest place on a crossed edge where a ring may pass: from the isobath towards the deep."""
    columns = depth.shape[1] + 2
    node, kind = edge // 3, edge % 3
    r0, c0 = node // columns, node % columns
    r1, c1 = r0, c0
    if kind == 0:
        c1 += 1
    elif kind == 1:
        r1 += 1
    elif _falls(depth, r0, c0, isobath):
        r1, c1 = r1 + 1, c1 + 1
    else:
        r1, c0 = r1 + 1, c0 + 1
    if _value(depth, r1, c1, isobath) < limit:
        r0, c0, r1, c1 = r1, c1, r0, c0
    low, high = _value(depth, r0, c0, isobath), _value(depth, r1, c1, isobath)
    across, up = xs[c1] - xs[c0], ys[r1] - ys[r0]
    if np.isinf(high):
        near, far = _OPEN_EDGE
    else:
        near = (limit - low) / (high - low)
        far = near + min(tolerance / np.hypot(across, up), 0.9 * (1.0 - near))
    return xs[c0] + near * across, ys[r0] + near * up, xs[c0] + far * across, ys[r0] + far * up


@kept_code
@compiled
def _gates(
    depth: NDArray[np.floating],
    xs: Floats,
    ys: Floats,
    isobath: float,
    limit: float,
    tolerance: float,
    edges: Ints,
    following: Ints,
    passed: NDArray[np.uint8],
    gates: Floats,
    starts: Ints,
) -> int:
    """Write the gates of all rings in order, (n, 4), and the offsets at which rings begin; give back how many rings.

    Each crossed edge, in order, is followed by the one of which `following` has the place.
    """
    rings, filled = 0, 0
    starts[0] = 0
    for first in range(edges.size):
        if passed[first] != 0:
            continue
        at = first
        while passed[at] == 0:
            passed[at] = 1
            x0, y0, x1, y1 = _gate(edges[at], depth, xs, ys, isobath, limit, tolerance)
            gates[filled, 0], gates[filled, 1], gates[filled, 2], gates[filled, 3] = x0, y0, x1, y1
            filled += 1
            at = following[at]
        rings += 1
        starts[rings] = filled
    return rings


@compiled
def _cross(ax: float, ay: float, bx: float, by: float) -> float:
    return ax * by - ay * bx


@compiled
def _on_gate(gates: Floats, at: int, px: float, py: float, dx: float, dy: float) -> tuple[float, float]:
    """Where the ray from p along d passes a gate, held to the gate."""
    left_x, left_y = gates[at, 0], gates[at, 1]
    gx, gy = gates[at, 2] - left_x, gates[at, 3] - left_y
    bottom = _cross(dx, dy, gx, gy)
    share = 0.0 if bottom == 0.0 else _cross(left_x - px, left_y - py, dx, dy) / bottom
    share = min(max(share, 0.0), 1.0)
    return left_x + share * gx, left_y + share * gy


@compiled
def _thread(gates: Floats, begin: int, total: int, out: Floats, filled: int) -> int:
    """Pass a ring through its gates in order with few corners; greedy, the farthest gate in sight each time.

    The ring's gates are so many from `begin` on; its corners are written from `filled` on, and counted.
    """
    out[filled, 0], out[filled, 1] = gates[begin, 0], gates[begin, 1]
    corners, at = 1, 0
    while at + 1 < total:
        px, py = out[filled + corners - 1, 0], out[filled + corners - 1, 1]
        # Directions from p that pass all gates so far: clockwise of "left" (the isobath), counter-clockwise of "right".
        ahead = begin + at + 1
        lx, ly = gates[ahead, 0] - px, gates[ahead, 1] - py
        rx, ry = gates[ahead, 2] - px, gates[ahead, 3] - py
        k = at + 1
        turn = 0
        while k < total:
            k += 1
            last = k == total
            ahead = begin + k % total
            nx, ny = gates[ahead, 0] - px, gates[ahead, 1] - py
            fx, fy = gates[ahead, 2] - px, gates[ahead, 3] - py
            if last:
                fx, fy = nx, ny
            if _cross(rx, ry, nx, ny) < 0.0:
                turn = -1
                break
            if _cross(lx, ly, fx, fy) > 0.0:
                turn = 1
                break
            if _cross(lx, ly, nx, ny) < 0.0:
                lx, ly = nx, ny
            if _cross(rx, ry, fx, fy) > 0.0:
                rx, ry = fx, fy
        if turn == 0:
            break
        at = k - 1
        if turn > 0:
            x, y = _on_gate(gates, begin + at, px, py, lx, ly)
        else:
            x, y = _on_gate(gates, begin + at, px, py, rx, ry)
        out[filled + corners, 0], out[filled + corners, 1] = x, y
        corners += 1
    return corners


@kept_code
@compiled
def _thread_all(gates: Floats, starts: Ints, corners: Floats, offsets: Ints) -> int:
    """Thread every ring; write the offsets at which rings begin, and give back how many corners there are."""
    filled = 0
    offsets[0] = 0
    for ring in range(starts.size - 1):
        begin, total = starts[ring], starts[ring + 1] - starts[ring]
        count = _thread(gates, begin, total, corners, filled)
        if count < 3:
            count = total
            for k in range(total):
                corners[filled + k, 0], corners[filled + k, 1] = gates[begin + k, 0], gates[begin + k, 1]
        filled += count
        offsets[ring + 1] = filled
    return filled


def shallow_rings(
    depth_m: NDArray[np.floating],
    xs: Floats,
    ys: Floats,
    limit_m: float,
    tolerance_m: float,
) -> tuple[Floats, Ints]:
    """Draw the rings that bound the region where a grid of depths is shallower than a limit.

    Parameters
    ----------
    depth_m
        Depths at the nodes, row 0 in the north; NaN counts as deep here (its whole neighbourhood is unknown
        and has to be dealt with by the caller).
    xs, ys
        Coordinates of the columns (rising) and of the rows (falling).
    limit_m
        The depth of the isobath.
    tolerance_m
        How far into the deep a ring may stray from the isobath to save corners; 0 draws every crossing.

    Returns
    -------
    Corners of all rings, (n, 2), and the offsets at which rings begin (one more than rings). The shallow region
    lies to the left: outer rings run counter-clockwise, holes clockwise. Rings are simple and do not touch.

    Notes
    -----
    Each patch between four nodes is cut into two triangles along the diagonal with the lower mean. On that
    diagonal and on the edges the linear surface is not above the bilinear one, so the region where it is below
    the limit holds all of the region where the bilinear surface is: no saddle has to be guessed. Each ring
    crosses every edge once, so it may be shifted along the edges, towards the deep only, without ever touching
    itself or another: that is the room in which corners are saved.
    """
    rows, columns = depth_m.shape
    # A rim of deep nodes a hair outside the grid closes the rings that reach its edge.
    hair_x = 2e-3 * float(np.ptp(xs)) / max(columns - 1, 1)
    hair_y = 2e-3 * float(np.ptp(ys)) / max(rows - 1, 1)
    x0, y0 = float(xs[0]), float(ys[0])
    xs_ = np.concatenate([[-hair_x], xs - x0, [xs[-1] - x0 + hair_x]])
    ys_ = np.concatenate([[hair_y], ys - y0, [ys[-1] - y0 - hair_y]])
    limit = limit_m + _ROUNDING_M
    if depth_m.size <= _FEW_NODES:
        # So few are drawn by Python itself sooner than the loops are loaded; in double precision, as loops reckon.
        with interpreted():
            corners, offsets = _rings(
                depth_m.astype(np.float64), xs_, ys_, limit_m, limit, float(tolerance_m)
            )
    else:
        corners, offsets = _rings(depth_m, xs_, ys_, limit_m, limit, float(tolerance_m))
    return corners + np.array([x0, y0]), offsets


def _patches(depth_m: NDArray[np.floating], limit_m: float, limit: float) -> NDArray[np.int64]:
    """Find all mixed patches, a buffer of rows at a time."""
    columns = depth_m.shape[1] + 2
    flags = np.zeros((2, columns), dtype=np.uint8)
    mixed = np.zeros(-(-columns // 8) * 8, dtype=np.uint8)
    found, told = np.empty(max(_PATCHES_AT_ONCE, columns), dtype=np.int64), np.zeros(1, dtype=np.int64)
    row, parts = 0, []
    while row < depth_m.shape[0] + 1:
        row = int(
            _mixed_patches(depth_m, limit_m, limit, row, flags, mixed, mixed.view(np.uint64), found, told)
        )
        parts.append(found[: told[0]].copy())
    return np.concatenate(parts)


def _rings(
    depth_m: NDArray[np.floating],
    xs: NDArray[np.float64],
    ys: NDArray[np.float64],
    limit_m: float,
    limit: float,
    tolerance_m: float,
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    depth_m = np.ascontiguousarray(depth_m)
    patches = _patches(depth_m, limit_m, limit)
    steps = np.empty((2 * patches.size, 2), dtype=np.int64)
    steps = steps[: _steps(depth_m, limit_m, limit, patches, steps)]
    steps = steps[np.argsort(steps[:, 0], kind="stable")]
    following = np.searchsorted(steps[:, 0], steps[:, 1])
    edges = np.ascontiguousarray(steps[:, 0])
    gates, starts = np.empty((edges.size, 4)), np.empty(edges.size + 1, dtype=np.int64)
    passed = np.zeros(edges.size, dtype=np.uint8)
    rings = _gates(depth_m, xs, ys, limit_m, limit, tolerance_m, edges, following, passed, gates, starts)
    starts = starts[: rings + 1].copy()
    if tolerance_m > 0:
        corners, offsets = np.empty((edges.size, 2)), np.empty(starts.size, dtype=np.int64)
        return corners[: _thread_all(gates, starts, corners, offsets)].copy(), offsets
    return gates[:, :2].copy(), starts
