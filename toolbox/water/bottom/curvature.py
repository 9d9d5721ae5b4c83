"""Minimum curvature with tension on a grid with barriers, coarse to fine; and a last touch at the data.

The surface that bends least through the data solves, between the data, (1 - t) L(L(u)) - t L(u) = 0, where L is the
Laplacian and t the tension (Smith and Wessel 1990, Geophysics 55, 293-305). Here the stencil never reads across a
barrier: beyond one, the surface is continued in a straight line through the value 0 at the barrier.

Centres are set before the surface is relaxed, along the slope of the coarser one. Where the bottom is steep against
the interval of the contours, what lies between the centres is then still off; here the centres round each datum share
the rest, in passes of S. Kaczmarz (Bulletin international de l'Academie polonaise A35 (1937) 355-357).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

LAND, PLAIN, SHORE, DATA = 0, 1, 2, 3
_OVER = 1.5
MARGIN = 2  # the stencil reads two centres away; the arrays carry that much land on each side


@compiled
def _beyond(bar: int) -> float:
    """Continue a straight line from a centre through 0 at the barrier to the next centre, as a share of it."""
    return float((bar - 100.0) / bar)


@compiled
def _neighbour(
    u: NDArray[np.float32], bars: NDArray[np.uint8], r: int, c: int, down: int, right: int, way: int
) -> float:
    """Value at the next centre, or what continues the surface there when the link is barred."""
    bar = bars[way, r, c]
    if bar:
        return float(u[r, c] * _beyond(bar))
    return float(u[r + down, c + right])


@compiled
def _near_shore(
    u: NDArray[np.float32], bars: NDArray[np.uint8], r: int, c: int, ratio: float, pull: float
) -> float:
    """Solve the stencil at a centre with a barrier near; what it reads of itself goes to the left side."""
    own = 6.0 + 6.0 * ratio * ratio + 8.0 * ratio + pull * (2.0 + 2.0 * ratio)
    rest = 0.0
    for way in range(4):
        down, right = 0, 0
        if way == 0:
            right = 1
        elif way == 1:
            right = -1
        elif way == 2:
            down = -1
        else:
            down = 1
        if way < 2:
            one, two = -4.0 - 4.0 * ratio - pull, 1.0
        else:
            one, two = -4.0 * ratio * ratio - 4.0 * ratio - pull * ratio, ratio * ratio
        bar = bars[way, r, c]
        if bar:
            own += one * _beyond(bar) + two * (bar - 200.0) / bar
        else:
            rest += one * u[r + down, c + right]
            rest += two * _neighbour(u, bars, r + down, c + right, down, right, way)
    for down in (-1, 1):
        for right in (-1, 1):
            side = 0 if right == 1 else 1
            upright = 2 if down == -1 else 3
            beside = not bars[side, r, c] and not bars[upright, r, c + right]
            if beside or (not bars[upright, r, c] and not bars[side, r + down, c]):
                value = float(u[r + down, c + right])
            else:
                value = (
                    _neighbour(u, bars, r, c, 0, right, side)
                    + _neighbour(u, bars, r, c, down, 0, upright)
                    - u[r, c]
                )
            rest += 2.0 * ratio * value
    return -rest / own


@compiled
def sweep(
    u: NDArray[np.float32],
    state: NDArray[np.uint8],
    bars: NDArray[np.uint8],
    label: NDArray[np.int32],
    low: NDArray[np.float32],
    high: NDArray[np.float32],
    ratio: float,
    pull: float,
    backward: bool,
) -> None:
    """Relax every free centre once, in order of rows, each held to the bounds of its area."""
    rows, columns = u.shape
    own = 6.0 + 6.0 * ratio * ratio + 8.0 * ratio + pull * (2.0 + 2.0 * ratio)
    sideways = 4.0 + 4.0 * ratio + pull
    upright = 4.0 * ratio * ratio + 4.0 * ratio + pull * ratio
    diagonal, far = 2.0 * ratio, ratio * ratio
    for i in range(MARGIN, rows - MARGIN):
        r = rows - 1 - i if backward else i
        for k in range(MARGIN, columns - MARGIN):
            c = columns - 1 - k if backward else k
            kind = state[r, c]
            if kind == PLAIN:
                value = (
                    sideways * (u[r, c + 1] + u[r, c - 1])
                    + upright * (u[r - 1, c] + u[r + 1, c])
                    - diagonal * (u[r - 1, c - 1] + u[r - 1, c + 1] + u[r + 1, c - 1] + u[r + 1, c + 1])
                    - (u[r, c + 2] + u[r, c - 2])
                    - far * (u[r + 2, c] + u[r - 2, c])
                ) / own
            elif kind == SHORE:
                value = _near_shore(u, bars, r, c, ratio, pull)
            else:
                continue
            value = u[r, c] + _OVER * (value - u[r, c])
            area = label[r, c]
            u[r, c] = min(max(value, low[area]), high[area])


@compiled
def held_values(
    u: NDArray[np.float32],
    bars: NDArray[np.uint8],
    rows: NDArray[np.int64],
    columns: NDArray[np.int64],
    data: NDArray[np.float64],
    low: NDArray[np.float64],
    high: NDArray[np.float64],
) -> NDArray[np.float32]:
    """Values of the centres that have data with which the surface passes through the data where they lie."""
    held = np.empty(rows.size, dtype=np.float32)
    for k in range(rows.size):
        r, c = int(rows[k]), int(columns[k])
        east = _neighbour(u, bars, r, c, 0, 1, 0)
        west = _neighbour(u, bars, r, c, 0, -1, 1)
        north = _neighbour(u, bars, r, c, -1, 0, 2)
        south = _neighbour(u, bars, r, c, 1, 0, 3)
        value = data[k, 0] - data[k, 1] * (east - west) / 2.0 - data[k, 2] * (south - north) / 2.0
        held[k] = min(max(value, low[k]), high[k])
    return held


@compiled
def find_shore(state: NDArray[np.uint8], bars: NDArray[np.uint8]) -> None:
    """Mark free centres whose stencil meets a barrier."""
    rows, columns = state.shape
    for r in range(MARGIN, rows - MARGIN):
        for c in range(MARGIN, columns - MARGIN):
            if state[r, c] != PLAIN:
                continue
            for down in range(-1, 2):
                for right in range(-1, 2):
                    for way in range(4):
                        if bars[way, r + down, c + right]:
                            state[r, c] = SHORE


@compiled
def _open_block(bars: NDArray[np.uint8], r: int, c: int) -> bool:
    """Whether no barrier lies between the fine centres of a coarse cell, whose first is (r, c)."""
    rows, columns = bars.shape[1:]
    for down in range(2):
        for right in range(2):
            if r + down >= rows or c + right >= columns:
                continue
            if right == 0 and bars[0, r + down, c]:
                return False
            if down == 0 and bars[3, r, c + right]:
                return False
    return True


@compiled
def _flood(u: NDArray[np.float32], bars: NDArray[np.uint8], node: NDArray[np.int64]) -> None:
    """Give unknown centres the mean of their known neighbours over open links, as far as those lead."""
    columns = u.shape[1]
    changed = True
    while changed:
        changed = False
        for k in range(node.size):
            r, c = node[k] // columns, node[k] % columns
            if not np.isnan(u[r, c]):
                continue
            total, count = 0.0, 0
            for way in range(4):
                if bars[way, r, c]:
                    continue
                rr = r + (way == 3) - (way == 2)
                cc = c + (way == 0) - (way == 1)
                if rr < 0 or cc < 0 or rr >= u.shape[0] or cc >= columns or np.isnan(u[rr, cc]):
                    continue
                total += u[rr, cc]
                count += 1
            if count:
                u[r, c] = total / count
                changed = True


@compiled
def refine(
    coarse: NDArray[np.float32],
    wet: NDArray[np.bool_],
    coarse_bars: NDArray[np.uint8],
    fine_wet: NDArray[np.bool_],
    bars: NDArray[np.uint8],
) -> NDArray[np.float32]:
    """Carry a surface to cells half as wide, bilinear, and never across a barrier.

    A fine centre takes from its coarse cell, and over open links of that from the neighbours of it, when no
    barrier runs through the cell; else from its fine neighbours. NaN where nothing leads, 0 on land.
    """
    fine = np.zeros(fine_wet.shape, dtype=np.float32)
    unknown = np.empty(fine_wet.size, dtype=np.int64)
    rows, columns = wet.shape
    found = 0
    for r in range(fine_wet.shape[0]):
        r0 = r // 2
        r1 = min(max(r0 + (1 if r % 2 else -1), 0), rows - 1)
        upright = 3 if r % 2 else 2
        for c in range(fine_wet.shape[1]):
            if not fine_wet[r, c]:
                continue
            c0 = c // 2
            c1 = min(max(c0 + (1 if c % 2 else -1), 0), columns - 1)
            side = 0 if c % 2 else 1
            if not wet[r0, c0] or not _open_block(bars, 2 * r0, 2 * c0):
                fine[r, c] = np.nan
                unknown[found] = r * fine_wet.shape[1] + c
                found += 1
                continue
            beside = wet[r0, c1] and not coarse_bars[side, r0, c0]
            above = wet[r1, c0] and not coarse_bars[upright, r0, c0]
            across = wet[r1, c1] and (
                (beside and not coarse_bars[upright, r0, c1]) or (above and not coarse_bars[side, r1, c0])
            )
            total, weight = 9.0 * coarse[r0, c0], 9.0
            if beside:
                total += 3.0 * coarse[r0, c1]
                weight += 3.0
            if above:
                total += 3.0 * coarse[r1, c0]
                weight += 3.0
            if across:
                total += coarse[r1, c1]
                weight += 1.0
            fine[r, c] = total / weight
    _flood(fine, bars, unknown[:found])
    return fine


@compiled
def carry_ashore(
    u: NDArray[np.float32],
    water: NDArray[np.bool_],
    bars: NDArray[np.uint8],
    depth: NDArray[np.float32],
) -> None:
    """Write the water's depths, and on land centres beside water what makes the surface 0 at the barrier.

    A land centre that meets water only across a corner is 0; where it meets water on several sides, the mean of what
    the sides ask for.
    """
    rows, columns = u.shape
    for r in range(rows):
        for c in range(columns):
            if water[r, c]:
                depth[r, c] = u[r, c]
                continue
            total, count, near = 0.0, 0, False
            for down in range(-1, 2):
                for right in range(-1, 2):
                    rr, cc = r + down, c + right
                    if rr < 0 or rr >= rows or cc < 0 or cc >= columns or not water[rr, cc]:
                        continue
                    if np.isnan(u[rr, cc]):
                        continue
                    near = True
                    if down != 0 and right != 0:
                        continue
                    # The link seen from the water: to its east when the water lies west of the land, and so on.
                    way = (0 if right < 0 else 1) if down == 0 else (2 if down > 0 else 3)
                    total += u[rr, cc] * _beyond(max(bars[way, rr, cc], 1))
                    count += 1
            if count:
                depth[r, c] = min(total / count, 0.0)
            elif near:
                depth[r, c] = 0.0


_PASSES = 8
_LEFT = 0.05  # of the depths its area spans, that a datum may stay off
_FIRM_GRIP = 0.3  # squared weights of the centres that may move, below which a datum moves them less


@compiled
def settle_data(
    u: NDArray[np.float32],
    state: NDArray[np.uint8],
    bars: NDArray[np.uint8],
    limits: tuple[NDArray[np.int32], NDArray[np.float32], NDArray[np.float32]],
    rows: NDArray[np.int64],
    columns: NDArray[np.int64],
    data: NDArray[np.float64],
) -> None:
    """Move centres until data are met to a twentieth of the depths their areas span.

    A datum is left as it is where a shore passes between its four centres. Centres stay within the limits of their
    areas.

    Parameters
    ----------
    u
        Depths, changed in place.
    state, bars
        Kind of each centre, and its barred links.
    limits
        Area of each centre, and the least and greatest depth by area.
    rows, columns
        Cell of each datum.
    data
        Depth of each, and where it lies right of the centre and below it, in cells.
    """
    label, low, high = limits
    for _ in range(_PASSES):
        for k in range(len(rows)):
            depth, right, down = data[k]
            r, c = rows[k], columns[k]
            if down < 0.0:
                r, down = r - 1, down + 1.0
            if right < 0.0:
                c, right = c - 1, right + 1.0
            if state[r, c] == LAND or state[r + 1, c] == LAND:
                continue
            if state[r, c + 1] == LAND or state[r + 1, c + 1] == LAND:
                continue
            if bars[0, r, c] or bars[0, r + 1, c] or bars[3, r, c] or bars[3, r, c + 1]:
                continue
            area = label[rows[k], columns[k]]
            free = _LEFT * (high[area] - low[area])
            off = depth
            grip = 0.0
            for i in range(2):
                for j in range(2):
                    weight = (down if i else 1.0 - down) * (right if j else 1.0 - right)
                    off -= weight * u[r + i, c + j]
                    grip += weight * weight
            if abs(off) <= free:
                continue
            off -= free if off > 0.0 else -free
            for i in range(2):
                for j in range(2):
                    weight = (down if i else 1.0 - down) * (right if j else 1.0 - right)
                    area = label[r + i, c + j]
                    value = u[r + i, c + j] + weight / grip * off
                    u[r + i, c + j] = min(max(value, low[area]), high[area])


@compiled
def settle_shore(depth: NDArray[np.float32], water: NDArray[np.bool_], places: NDArray[np.float64]) -> None:
    """Move the centres ashore that carry the surface on until it is 0 along the shoreline, or nearly.

    Parameters
    ----------
    depth
        Depths, NaN where nothing is known; those ashore are changed in place, and stay 0 or less.
    water
        Centres that are water.
    places
        Column and row of points along the shoreline.
    """
    rows, columns = depth.shape
    for _ in range(_PASSES):
        for k in range(len(places)):
            c, r = int(np.floor(places[k, 0])), int(np.floor(places[k, 1]))
            if r < 0 or c < 0 or r + 1 >= rows or c + 1 >= columns:
                continue
            right, down = places[k, 0] - c, places[k, 1] - r
            off, grip, known = 0.0, 0.0, True
            for i in range(2):
                for j in range(2):
                    weight = (down if i else 1.0 - down) * (right if j else 1.0 - right)
                    known = known and not np.isnan(depth[r + i, c + j])
                    off -= weight * depth[r + i, c + j]
                    grip += 0.0 if water[r + i, c + j] else weight * weight
            if not known:
                continue
            for i in range(2):
                for j in range(2):
                    if not water[r + i, c + j]:
                        weight = (down if i else 1.0 - down) * (right if j else 1.0 - right)
                        value = depth[r + i, c + j] + weight / max(grip, _FIRM_GRIP) * off
                        depth[r + i, c + j] = min(value, 0.0)
