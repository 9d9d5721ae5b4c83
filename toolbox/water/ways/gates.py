"""Where idling turns into running, and ways handed on from one running water to the next over idle links."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from scipy.sparse.csgraph import floyd_warshall
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


@dataclass(frozen=True, eq=False)
class Sums:
    """What ways add up to, between rows and columns."""

    time_s: Floats
    distance_m: Floats
    idle_m: Floats
    slow_m: Floats

    def __getitem__(self, at: Any) -> Sums:
        return Sums(self.time_s[at], self.distance_m[at], self.idle_m[at], self.slow_m[at])

    def __add__(self, more: Sums) -> Sums:
        return Sums(
            self.time_s + more.time_s,
            self.distance_m + more.distance_m,
            self.idle_m + more.idle_m,
            self.slow_m + more.slow_m,
        )

    def put(self, at: Any, values: Sums) -> None:
        """Set what stands at some places."""
        self.time_s[at], self.distance_m[at] = values.time_s, values.distance_m
        self.idle_m[at], self.slow_m[at] = values.idle_m, values.slow_m

    def copy(self) -> Sums:
        """Return sums that can be changed apart."""
        return self[np.ix_(*(np.arange(k) for k in self.time_s.shape))]

    def mirrored(self) -> Sums:
        """Let the upper triangle speak for both directions."""
        return Sums(*(np.triu(a, 1) + np.triu(a, 1).T for a in arrays(self)))


def arrays(sums: Sums) -> tuple[Floats, Floats, Floats, Floats]:
    """Return the four arrays of sums."""
    return sums.time_s, sums.distance_m, sums.idle_m, sums.slow_m


def idled(length_m: Floats, speed_mps: float) -> Sums:
    """Return the sums of ways idled from end to end."""
    return Sums(length_m / speed_mps, length_m, length_m.copy(), length_m * 0.0)


@dataclass(frozen=True, eq=False)
class Relay:
    """How to get from one running water to another: over which ends of links, in which order."""

    ends: Ints  # nodes
    first: Ints  # (node, end left by): end reached first
    last: Ints  # (node, node): end left by; -1 for a way without links
    previous: Ints  # tree between ends
    links: dict[tuple[int, int], Floats]

    def nodes(self, a: int, b: int) -> list[int]:
        """List the nodes from a to b."""
        by = int(self.last[a, b])
        if by < 0:
            return [a, b]
        first = int(self.first[a, by])
        chain = [by]
        while chain[-1] != first:
            chain.append(int(self.previous[first, chain[-1]]))
        return [a, *(int(self.ends[k]) for k in reversed(chain)), b]


def related(sums: Sums, links: list[Link], number: Ints, idle_mps: float) -> tuple[Sums, Relay]:
    """Add to running ways those over idle links; node numbers of the links' ends come two a link."""
    ends = np.unique(number)
    place = np.searchsorted(ends, number)
    between = sums[np.ix_(ends, ends)].copy()
    lines: dict[tuple[int, int], Floats] = {}
    for link, a, b in zip(links, place[0::2], place[1::2], strict=True):
        by_idling = idled(np.asarray(link.length_m), idle_mps)
        if by_idling.time_s < between.time_s[a, b]:
            between.put((a, b), by_idling)
            between.put((b, a), by_idling)
            lines[int(ends[a]), int(ends[b])] = link.coordinates
            lines[int(ends[b]), int(ends[a])] = link.coordinates[::-1]
    quickest, previous = floyd_warshall(between.time_s, directed=False, return_predecessors=True)
    whole = between.copy()
    for a in range(len(ends)):
        for b in range(len(ends)):
            if a != b and np.isfinite(quickest[a, b]):
                chain = [b]
                while chain[-1] != a:
                    chain.append(int(previous[a, chain[-1]]))
                total = between[chain[1], chain[0]]
                for one, other in pairwise(chain[1:]):
                    total = total + between[other, one]
                whole.put((a, b), total)
    # From each node to the end it leaves the last link by, then on to every other node: the best of both steps.
    size, count = len(sums.time_s), len(ends)
    first = np.zeros((size, count), dtype=np.int64)
    reach = sums[:, np.full(count, 0)].copy()
    reach.time_s[:] = np.inf
    for p in range(count):
        offer = sums[:, np.full(count, ends[p])] + whole[np.full(size, p), :]
        better = offer.time_s < reach.time_s
        reach.put(better, offer[better])
        first[better] = p
    result, last = sums.copy(), np.full((size, size), -1, dtype=np.int64)
    for q in range(count):
        offer = reach[:, np.full(size, q)] + sums[np.full(size, ends[q]), :]
        better = offer.time_s < result.time_s
        result.put(better, offer[better])
        last[better] = q
    return result, Relay(ends, first, last, np.asarray(previous, dtype=np.int64), lines)
