"""Where idling turns into running: the gate of a stop in thin water, the links between running waters."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from shapely.ops import substring

from ...arrays import Flags, Floats, Geometries, Ints
from .navigation import SafeWater
from .safe_water import sound

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
_TRIED = 256  # lines tested together, shortest ways first


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
        found = _first_straight(stop, shore, local, radius)
        if found is not None:
            return _moved_in(running, found, None)
        if radius > (east - west) + (north - south):
            return None
        radius *= 2.0


def _first_straight(stop: Floats, shore: Geometries, local: SafeWater, radius: float) -> Floats | None:
    """Shortest of the ways that end with a straight line from a corner, or the stop, to the nearest point of a shore.

    Any other last line could be shortened, or bends round a further corner.
    """
    bends = np.unique(local.mesh.xy[local.mesh.bends], axis=0)
    bends = bends[np.any(bends != stop, axis=1) & (np.sum((bends - stop) ** 2, axis=1) <= radius * radius)]
    corners = np.concatenate([stop[None], bends])
    ways = local.ways(corners)
    points = np.asarray(shapely.points(corners), dtype=object)
    total = ways.length_m[0][:, None] + shapely.distance(points[:, None], shore[None])
    order = np.argsort(total, axis=None, kind="stable")
    order = order[total.ravel()[order] <= radius]
    shapely.prepare(local.water)
    for first in range(0, len(order), _TRIED):
        corner, segment = np.divmod(order[first : first + _TRIED], len(shore))
        lines = shapely.shortest_line(points[corner], shore[segment])
        clear = np.flatnonzero(shapely.covers(local.water, lines) | (shapely.length(lines) == 0.0))
        if len(clear):
            taken = clear[0]
            xy = np.concatenate(
                [ways.way(0, int(corner[taken])).coordinates, shapely.get_coordinates(lines[taken])[1:]]
            )
            moves = np.any(xy[1:] != xy[:-1], axis=1)
            return np.concatenate([xy[:1], xy[1:][moves]])
    return None


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
    Corners (k, 2) from the stop to its gate, which lies in running water; None where no idle way leads there.

    Notes
    -----
    Where the straight line to the nearest point of running water keeps to idling water, it is the shortest way.
    Elsewhere the ways round all corners about are tried, shortest first.
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
    for row, line in enumerate(lines):  # a loop, because few stops lie in thin water
        access = None
        if own[row] >= 0 and reach[own[row]]:
            if straight[row]:
                access = _moved_in(running, shapely.get_coordinates(line), None)
            if access is None:
                access = _winding_access(stops[row], near, running, idling)
        found.append(access)
    return found


def _stays(line: Any, running: SafeWater, counts: Flags, known_ends: Ints) -> list[tuple[float, float, int]]:
    """Stretches of a line in running waters that count: from, to (metres along it), water.

    Its ends lie in running waters, perhaps on their edge; so the first and last stretch may have no length.
    """
    inside = shapely.get_parts(shapely.intersection(line, running.water))
    inside = inside[shapely.length(inside) > 4.0 * _NUDGES_M[-1]]
    ends = np.stack([shapely.get_point(inside, 0), shapely.get_point(inside, -1)], axis=1)
    along = np.sort(shapely.line_locate_point(line, ends), axis=1)
    water = running.locate(
        shapely.get_coordinates(shapely.line_interpolate_point(inside, 0.5, normalized=True))
    )
    known = (water >= 0) & counts[water]
    rows = np.flatnonzero(known)[np.argsort(along[known, 0], kind="stable")]
    found = [(float(along[row, 0]), float(along[row, 1]), int(water[row])) for row in rows]
    length = float(shapely.length(line))
    stays: list[tuple[float, float, int]] = []
    for start, end, number in [(0.0, 0.0, int(known_ends[0])), *found, (length, length, int(known_ends[1]))]:
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
    For each pair of running waters that follow one another on the shortest idle way between two of the members,
    the shortest stretch between them.
    """
    ways = idling.ways(members)
    own = running.locate(members)
    best: dict[tuple[int, int], Link] = {}
    for i in range(len(members)):
        for j in range(i + 1, len(members)):
            if not np.isfinite(ways.length_m[i, j]) or ways.length_m[i, j] == 0.0:
                continue
            line = shapely.LineString(ways.way(i, j).coordinates)
            for (_, leave, a), (enter, _, b) in pairwise(_stays(line, running, counts, own[[i, j]])):
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
