"""Ways with their corners rounded to a turning radius, without coming nearer to anything."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from ...arrays import Floats
from ...errors import UsageError

_STEP = math.radians(10.0)  # an arc is drawn by lines that turn by no more
_HALVINGS = 8


@dataclass(frozen=True, eq=False)
class RoundedWay:
    """A way with round corners: its points, its length, and the radius of each corner of the way it was made from."""

    coordinates: Floats
    length_m: float
    radius_m: Floats


def _unit(vector: Floats) -> Floats:
    return np.asarray(vector / math.hypot(*vector))


def _left(vector: Floats) -> Floats:
    return np.array([-vector[1], vector[0]])


def _discs(xy: Floats, radius: Floats) -> tuple[Floats, Floats]:
    """Discs the way is wound round: through each corner, on its inner side. Centres, and radii signed by the turn."""
    centre, signed = xy.copy(), np.zeros(len(xy))
    for k in range(1, len(xy) - 1):
        come, go = _unit(xy[k] - xy[k - 1]), _unit(xy[k + 1] - xy[k])
        turn = come[0] * go[1] - come[1] * go[0]
        if radius[k] > 0.0 and turn != 0.0 and float(come @ go) > -1.0 + 1e-9:
            inward = _unit(go - come)
            centre[k] = xy[k] + radius[k] * inward
            signed[k] = math.copysign(radius[k], turn)
    return centre, signed


def _tangent(one: Floats, r1: float, other: Floats, r2: float) -> tuple[Floats, Floats] | None:
    """Line that leaves the first disc and meets the second, each passed on its own side; None if they are too near.

    A disc with a positive radius lies to the left of the line, one with a negative to its right.
    """
    across = other - one
    distance = math.hypot(*across)
    share = (r1 - r2) / distance if distance > 0.0 else 2.0
    if abs(share) >= 1.0:
        return None
    along = across / distance
    normal = share * along + math.sqrt(1.0 - share * share) * -_left(along)
    # The normal points to the right of the line; a disc to the left is touched on its right side.
    return one + r1 * normal, other + r2 * normal


def _arc(centre: Floats, signed: float, start: Floats, end: Floats) -> list[Floats] | None:
    """Corners of a line round an arc, on its outer side; None where the arc would run backwards."""
    radius = abs(signed)
    a, b = start - centre, end - centre
    sweep = math.atan2(a[0] * b[1] - a[1] * b[0], float(a @ b))
    if sweep * signed < -1e-9 * radius:
        return None
    pieces = max(1, math.ceil(abs(sweep) / _STEP))
    step = sweep / pieces
    first = math.atan2(a[1], a[0])
    angles = first + step * (np.arange(pieces) + 0.5)
    reach = radius / math.cos(step / 2.0)
    middle = [centre + reach * np.array([math.cos(t), math.sin(t)]) for t in angles]
    return [start, *middle, end]


def _wound(xy: Floats, radius: Floats) -> tuple[list[list[Floats]], set[int]]:
    """Points of the rounded way, corner by corner, and the corners whose radius is too large for their neighbours."""
    centre, signed = _discs(xy, radius)
    last = len(xy) - 1
    touch: list[list[Floats]] = [[] for _ in xy]
    tight: set[int] = set()
    for k in range(last):
        line = _tangent(centre[k], float(signed[k]), centre[k + 1], float(signed[k + 1]))
        if line is None:
            tight |= {k, k + 1}
            line = (xy[k], xy[k + 1])
        touch[k].append(line[0])
        touch[k + 1].append(line[1])
    points: list[list[Floats]] = []
    for k in range(last + 1):
        if k in {0, last} or signed[k] == 0.0:
            points.append([xy[k]])
            continue
        arc = _arc(centre[k], float(signed[k]), touch[k][0], touch[k][1])
        if arc is None:
            tight.add(k)
            arc = [xy[k]]
        points.append(arc)
    return points, {k for k in tight if 0 < k < last}


def _astray(points: list[list[Floats]], water: Any) -> set[int]:
    """Corners whose arc, or whose line to a neighbour, leaves the water."""
    bad: set[int] = set()
    for k in range(1, len(points)):
        line = np.stack([points[k - 1][-1], *points[k]])
        if not shapely.covers(water, shapely.LineString(line)):
            bad |= {k - 1, k}
    return {k for k in bad if 0 < k < len(points) - 1}


def round_corners(coordinates: Any, radius_m: float, water: Any) -> RoundedWay:
    """Round the corners of a way to a turning radius.

    Parameters
    ----------
    coordinates
        Corners (k, 2) of a shortest way, in metres.
    radius_m
        Radius wanted, above 0.
    water
        Water the way lies in and must not leave: safe water, already shrunk by the clearance.

    Returns
    -------
    The way wound round discs that touch its corners from within the bend, so that it swings wide and cuts no
    corner. Where the water is too tight the radius of that corner is smaller, 0 for a corner left as it is.

    Raises
    ------
    UsageError
        The radius is not above 0.
    """
    if not (math.isfinite(radius_m) and radius_m > 0.0):
        raise UsageError(f"the turning radius is {radius_m} m; give a length above 0")
    xy = np.asarray(coordinates, dtype=np.float64)
    xy = xy[np.concatenate([[True], np.any(xy[1:] != xy[:-1], axis=1)])]
    if len(xy) < 3:
        length = math.hypot(*(xy[-1] - xy[0]))
        return RoundedWay(np.asarray(coordinates, dtype=np.float64), length, np.zeros(max(len(xy) - 2, 0)))
    shapely.prepare(water)
    radius = np.full(len(xy), float(radius_m))
    radius[[0, -1]] = 0.0
    least = radius_m * 0.5**_HALVINGS
    while True:
        points, tight = _wound(xy, radius)
        wrong = tight or _astray(points, water)
        wrong = {k for k in wrong if radius[k] > 0.0}
        if not wrong:
            break
        rows = sorted(wrong)
        radius[rows] /= 2.0
        radius[radius < least] = 0.0
    flat = np.stack([point for corner in points for point in corner])
    flat = flat[np.concatenate([[True], np.any(flat[1:] != flat[:-1], axis=1)])]
    step = np.diff(flat, axis=0)
    return RoundedWay(flat, float(np.sum(np.hypot(step[:, 0], step[:, 1]))), radius[1:-1])
