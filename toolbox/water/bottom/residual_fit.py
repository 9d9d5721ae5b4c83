"""A last touch at the data: what the grid shows at a datum, between four centres, is brought near to what was measured.

Centres are set before the surface is relaxed, along the slope of the coarser one. Where the bottom is steep against
the interval of the contours, what lies between the centres is then still off; here the centres round each datum share
the rest, in passes of S. Kaczmarz (Bulletin international de l'Academie polonaise A35 (1937) 355-357).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...compiled import compiled
from .curvature import LAND

if TYPE_CHECKING:
    from numpy.typing import NDArray

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
