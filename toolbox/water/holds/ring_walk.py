"""Points along many rings at a time."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from ...arrays import Floats, Geometries, Indices


def points_on_rings(rings: Geometries, ring: Indices, place: Floats) -> tuple[Floats, Floats]:
    """Give the points that lie so far along rings.

    Parameters
    ----------
    rings
        Closed rings.
    ring, place
        For each point its ring, and how far along that it lies, less than the ring is long.

    Returns
    -------
    Their x and y. What a geometry library does ring by ring is done for all in one go.
    """
    xy, of_point = shapely.get_coordinates(rings, return_index=True)
    step = np.hypot(np.diff(xy[:, 0]), np.diff(xy[:, 1]))
    step[of_point[1:] != of_point[:-1]] = 0.0
    far = np.concatenate([[0.0], np.cumsum(step)])
    first = np.searchsorted(of_point, np.arange(len(rings)))
    wanted = far[first][ring] + place
    at = np.searchsorted(far, wanted, side="right") - 1
    at = at.clip(first[ring], np.append(first[1:], len(xy))[ring] - 2)
    share = ((wanted - far[at]) / np.where(step[at] > 0, step[at], 1.0)).clip(0.0, 1.0)[:, None]
    found = xy[at] + share * (xy[at + 1] - xy[at])
    return found[:, 0], found[:, 1]
