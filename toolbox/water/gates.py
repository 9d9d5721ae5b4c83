"""Where idling turns into running: the gate of a stop in thin water, the links between running waters."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.ops import substring

from .navigation import SafeWater
from .safe_water import sound

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_NUDGES_M = (
    0.0,
    1e-9,
    1e-8,
    1e-7,
    1e-6,
    1e-5,
    1e-4,
    1e-3,
)  # an end on the edge is moved in until it lies inside
_CANDIDATES = 400  # points of running water looked at from one stop at a time


@dataclass(frozen=True, eq=False)
class Link:
    """A way to idle from one running water to another; both ends lie in running water."""

    coordinates: Floats
    waters: tuple[int, int]
    length_m: float


def _moved_in(running: SafeWater, tail: Floats, water: int | None) -> Floats | None:
    """Lengthen a line whose last point lies on the edge of running water until that point lies inside."""
    last, before = tail[-1], tail[-2]
    step = last - before
    length = float(np.sqrt(np.sum(step * step)))
    direction = step / length if length > 0.0 else np.zeros(2)
    ends = last + np.asarray(_NUDGES_M)[:, None] * direction
    found = running.locate(ends)
    inside = np.flatnonzero(found >= 0 if water is None else found == water)
    if not len(inside):
        return None
    return np.concatenate([tail[:-1], ends[inside[:1]]])


def _winding_access(
    stop: Floats, near: shapely.STRtree, running: SafeWater, idling: SafeWater
) -> Floats | None:
    """Shortest idle way from a stop to running water when the straight line is barred."""
    point = shapely.Point(stop)
    nearest = near.query_nearest(point, all_matches=False)
    radius = 2.0 * float(shapely.distance(point, near.geometries[nearest[0]])) + 1.0
    west, south, east, north = shapely.bounds(idling.water)
    while True:
        # A way no longer than the radius cannot leave the box.
        box = shapely.box(*(stop - radius), *(stop + radius))
        local = SafeWater.build(sound(shapely.intersection(idling.water, box))[0])
        shore = near.geometries[near.query(point, predicate="dwithin", distance=radius)]
        feet = shapely.get_coordinates(shapely.shortest_line(shore, point)).reshape(-1, 2, 2)[:, 0]
        targets = np.unique(np.concatenate([feet, shapely.get_coordinates(shore)]), axis=0)
        away = np.sum((targets - stop) ** 2, axis=1)
        targets = targets[np.argsort(away, kind="stable")[:_CANDIDATES]]
        ways = local.ways(np.concatenate([stop[None], targets]))
        best = 1 + int(np.argmin(ways.length_m[0, 1:]))
        if ways.length_m[0, best] <= radius:
            return _moved_in(running, ways.way(0, best).coordinates, None)
        if radius > (east - west) + (north - south):
            return None
        radius *= 2.0


def find_gates(stops: Floats, running: SafeWater, idling: SafeWater, counts: Flags) -> list[Floats | None]:
    """Find for each stop the shortest idle way to running water.

    Parameters
    ----------
    stops
        Points (n, 2) in idling water.
    running, idling
        Safe waters, the first within the second.
    counts
        Which connected running waters count.

    Returns
    -------
    list
        Corners (k, 2) from the stop to its gate, which lies in running water; None where no idle way leads there.

    Notes
    -----
    Where the straight line to the nearest point of running water keeps to idling water, it is the shortest way.
    Elsewhere the shortest is taken of the ways to all corners of running water about, and to the points of its edge
    nearest to the stop.
    """
    segments, part = running.shore
    segments = segments[counts[part]]
    if not len(segments) or not len(stops):
        return [None] * len(stops)
    reach = np.zeros(int(idling.mesh.part.max(initial=-1)) + 1, dtype=bool)
    at = idling.locate(np.unique(segments[:, 0], axis=0))
    reach[at[at >= 0]] = True
    own = idling.locate(stops)
    near = shapely.STRtree(np.asarray(shapely.linestrings(segments), dtype=object))
    points = shapely.points(stops)
    nearest = near.query_nearest(points, all_matches=False)[1]
    lines = shapely.shortest_line(points, near.geometries[nearest])
    shapely.prepare(idling.water)
    straight = shapely.covers(idling.water, lines)
    found: list[Floats | None] = []
    for row, line in enumerate(lines):  # few stops lie in thin water
        access = None
        if own[row] >= 0 and reach[own[row]]:
            if straight[row]:
                access = _moved_in(running, shapely.get_coordinates(line), None)
            if access is None:
                access = _winding_access(stops[row], near, running, idling)
        found.append(access)
    return found


def _stays(line: Any, running: SafeWater, counts: Flags) -> list[tuple[float, float, int]]:
    """Stretches of a line in running waters that count: from, to (metres along it), water."""
    inside = shapely.get_parts(shapely.intersection(line, running.water))
    inside = inside[shapely.length(inside) > 4.0 * _NUDGES_M[-1]]
    if not len(inside):
        return []
    ends = np.stack([shapely.get_point(inside, 0), shapely.get_point(inside, -1)], axis=1)
    along = np.sort(shapely.line_locate_point(line, ends), axis=1)
    water = running.locate(
        shapely.get_coordinates(shapely.line_interpolate_point(inside, 0.5, normalized=True))
    )
    known = (water >= 0) & counts[water]
    rows = np.flatnonzero(known)[np.argsort(along[known, 0], kind="stable")]
    stays: list[tuple[float, float, int]] = []
    for row in rows:
        start, end, number = float(along[row, 0]), float(along[row, 1]), int(water[row])
        if stays and stays[-1][2] == number:
            stays[-1] = (stays[-1][0], end, number)
        else:
            stays.append((start, end, number))
    return stays


def find_links(running: SafeWater, idling: SafeWater, members: Floats, counts: Flags) -> list[Link]:
    """Find where to idle from one running water to the next.

    Parameters
    ----------
    running, idling
        Safe waters, the first within the second.
    members
        One point (k, 2) in each running water that is to be joined to the others.
    counts
        Which connected running waters count.

    Returns
    -------
    list of Link
        For each pair of running waters that follow one another on the shortest idle way between two of the members,
        the shortest stretch between them.
    """
    ways = idling.ways(members)
    best: dict[tuple[int, int], Link] = {}
    for i in range(len(members)):
        for j in range(i + 1, len(members)):
            if not np.isfinite(ways.length_m[i, j]) or ways.length_m[i, j] == 0.0:
                continue
            line = shapely.LineString(ways.way(i, j).coordinates)
            for (_, leave, a), (enter, _, b) in pairwise(_stays(line, running, counts)):
                piece = shapely.get_coordinates(substring(line, leave, enter))
                if len(piece) < 2:
                    continue
                forward = _moved_in(running, piece, b)
                both = None if forward is None else _moved_in(running, forward[::-1], a)
                if both is None:
                    continue
                xy, pair = (both[::-1], (a, b)) if a < b else (both, (b, a))
                length = float(shapely.length(shapely.LineString(xy)))
                if pair not in best or length < best[pair].length_m:
                    best[pair] = Link(xy, pair, length)
    return [best[pair] for pair in sorted(best)]
