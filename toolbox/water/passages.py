"""Ways at two depths of care: run where the water is safe on plane, idle where it is safe only slowly."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse.csgraph import floyd_warshall

from ..errors import NoSafeWay, UsageError
from .gates import find_gates, find_links
from .navigation import as_points

if TYPE_CHECKING:
    from .gates import Link
    from .navigation import SafeWater, Ways

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Leg = tuple[str, Floats]

RUN, IDLE = "run", "idle"
LEAST_RUN_AREA_M2 = 10_000.0


@dataclass(frozen=True, eq=False)
class _Sums:
    """What ways add up to, between rows and columns."""

    time_s: Floats
    distance_m: Floats
    idle_m: Floats
    slow_m: Floats

    def __getitem__(self, at: Any) -> _Sums:
        return _Sums(self.time_s[at], self.distance_m[at], self.idle_m[at], self.slow_m[at])

    def __add__(self, more: _Sums) -> _Sums:
        return _Sums(
            self.time_s + more.time_s,
            self.distance_m + more.distance_m,
            self.idle_m + more.idle_m,
            self.slow_m + more.slow_m,
        )

    def put(self, at: Any, values: _Sums) -> None:
        self.time_s[at], self.distance_m[at] = values.time_s, values.distance_m
        self.idle_m[at], self.slow_m[at] = values.idle_m, values.slow_m

    def copy(self) -> _Sums:
        return self[np.ix_(*(np.arange(k) for k in self.time_s.shape))]

    def mirrored(self) -> _Sums:
        """Let the upper triangle speak for both directions."""
        return _Sums(*(np.triu(a, 1) + np.triu(a, 1).T for a in _arrays(self)))


def _arrays(sums: _Sums) -> tuple[Floats, Floats, Floats, Floats]:
    return sums.time_s, sums.distance_m, sums.idle_m, sums.slow_m


def _idled(length_m: Floats, speed_mps: float) -> _Sums:
    return _Sums(length_m / speed_mps, length_m, length_m.copy(), length_m * 0.0)


@dataclass(frozen=True, eq=False)
class _Relay:
    """How to get from one running water to another: over which ends of links, in which order."""

    ends: Ints  # nodes
    first: Ints  # (node, end left by): end reached first
    last: Ints  # (node, node): end left by; -1 for a way without links
    previous: Ints  # tree between ends
    links: dict[tuple[int, int], Floats]

    def nodes(self, a: int, b: int) -> list[int]:
        by = int(self.last[a, b])
        if by < 0:
            return [a, b]
        first = int(self.first[a, by])
        chain = [by]
        while chain[-1] != first:
            chain.append(int(self.previous[first, chain[-1]]))
        return [a, *(int(self.ends[k]) for k in reversed(chain)), b]


@dataclass(frozen=True, eq=False)
class Passages:
    """Quickest ways between all pairs of stops under the rule of `passages`.

    Attributes
    ----------
    distance_m, time_s, idle_m, slow_m
        Arrays (n, n): length of the way, its time, the length idled, the length run within slow zones; inf where no
        way leads.
    reason
        For each stop why it cannot be reached from stop 0; empty where it can.
    """

    distance_m: Floats
    time_s: Floats
    idle_m: Floats
    slow_m: Floats
    reason: list[str]
    _stops: Floats
    _node: Ints
    _access: list[Floats | None]
    _running: Ways
    _relay: _Relay | None
    _idling: Ways | None
    _idle_row: Ints
    _direct: NDArray[np.bool_]

    def legs(self, i: int, j: int) -> list[Leg]:
        """List the pieces of the way from stop i to stop j.

        Returns
        -------
        list of (part, coordinates)
            ``run`` or ``idle`` and corners (k, 2) in metres; each piece starts where the one before ends. Empty where
            both stops are in the same spot.

        Raises
        ------
        NoSafeWay
            No way leads there.
        """
        if not np.isfinite(self.time_s[i, j]):
            why = self.reason[j] or self.reason[i] or "they lie in different waters"
            raise NoSafeWay(f"no safe way from stop {i} to stop {j}: {why}")
        if np.array_equal(self._stops[i], self._stops[j]):
            return []
        if i > j:
            return [(part, xy[::-1]) for part, xy in reversed(self.legs(j, i))]
        if self._direct[i, j] and self._idling is not None:
            return [(IDLE, self._idling.way(int(self._idle_row[i]), int(self._idle_row[j])).coordinates)]
        a, b = int(self._node[i]), int(self._node[j])
        nodes = [a, b] if self._relay is None else self._relay.nodes(a, b)
        found: list[Leg] = []
        out, back = self._access[i], self._access[j]
        if out is not None:
            found.append((IDLE, out))
        for one, other in pairwise(nodes):
            link = None if self._relay is None else self._relay.links.get((one, other))
            found.append((RUN, self._running.way(one, other).coordinates) if link is None else (IDLE, link))
        if back is not None:
            found.append((IDLE, back[::-1]))
        return _joined([(part, xy) for part, xy in found if np.any(xy != xy[0])])


def _joined(pieces: list[Leg]) -> list[Leg]:
    """Join neighbouring pieces of the same part."""
    found: list[Leg] = []
    for part, xy in pieces:
        if found and found[-1][0] == part:
            found[-1] = (part, np.concatenate([found[-1][1], xy[1:]]))
        else:
            found.append((part, xy))
    return found


def _length(xy: Floats) -> float:
    step = np.diff(xy, axis=0)
    return float(np.sum(np.sqrt(step[:, 0] * step[:, 0] + step[:, 1] * step[:, 1])))


def _related(sums: _Sums, links: list[Link], number: Ints, idle_mps: float) -> tuple[_Sums, _Relay]:
    """Add to running ways those over idle links; node numbers of the links' ends come two a link."""
    ends = np.unique(number)
    place = np.searchsorted(ends, number)
    between = sums[np.ix_(ends, ends)].copy()
    lines: dict[tuple[int, int], Floats] = {}
    for link, a, b in zip(links, place[0::2], place[1::2], strict=True):
        idled = _idled(np.asarray(link.length_m), idle_mps)
        if idled.time_s < between.time_s[a, b]:
            between.put((a, b), idled)
            between.put((b, a), idled)
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
    return result, _Relay(ends, first, last, np.asarray(previous, dtype=np.int64), lines)


def _reasons(time_s: Floats, stops: Floats, idle_part: Ints, idling: SafeWater) -> list[str]:
    """Say for each stop why it cannot be reached from stop 0."""
    away = shapely.distance(shapely.points(stops), idling.water)
    reasons: list[str] = []
    for row in range(len(stops)):
        if idle_part[row] < 0:
            where = "there is none" if idling.water.is_empty else f"it begins {away[row]:.1f} m away"
            reasons.append(f"outside the water this boat can use: {where}")
        elif row == 0 or np.isfinite(time_s[0, row]):
            reasons.append("")
        elif idle_part[0] < 0:
            reasons.append("the start lies outside the water this boat can use")
        else:
            reasons.append("in other water: no safe way leads there from the start")
    return reasons


def passages(
    xy: Any,
    running: SafeWater,
    idling: SafeWater,
    *,
    run_speed_mps: float,
    idle_speed_mps: float,
    slow: Any = None,
    slow_speed_mps: float | None = None,
    least_run_area_m2: float = LEAST_RUN_AREA_M2,
) -> Passages:
    """Find the quickest ways between all pairs of stops, running where that is safe and idling where it must be.

    Parameters
    ----------
    xy
        Stops (n, 2) in metres; stop 0 is where the trip starts.
    running, idling
        Water safe on plane and water safe at idle, the first within the second.
    run_speed_mps, idle_speed_mps
        Speeds over the ground, above 0.
    slow
        Area of the slow zones, or None. Running ways are not led round it; they only take longer.
    slow_speed_mps
        Speed within it; the idle speed unless given.
    least_run_area_m2
        A pool of running water smaller than this and without a stop is idled through like the thin water about it.

    Returns
    -------
    Passages
        Distances, times and pieces of all ways, and the reasons of stops without one.

    Raises
    ------
    DataError
        Stops are not finite pairs of numbers.
    UsageError
        A speed is not above 0.

    Notes
    -----
    The rule: a stop in running water is reached running. A stop in thin water is reached by an idle piece to its
    gate, the point of running water nearest by idle way. Between stops of one running water the way is its
    shortest. From one running water to another the boat idles the stretch between them that lies on the shortest way
    over idling water, over further running waters where that is quicker. Two stops in thin water are
    joined by idling all the way where that is quicker. Ways are the same there and back.
    """
    slow_mps = idle_speed_mps if slow_speed_mps is None else slow_speed_mps
    for name, speed in (("run", run_speed_mps), ("idle", idle_speed_mps), ("slow", slow_mps)):
        if not (np.isfinite(speed) and speed > 0.0):
            raise UsageError(f"the {name} speed is {speed} m/s; give a speed above 0")
    slow_mps = min(slow_mps, run_speed_mps)
    stops = as_points(xy)
    count = len(stops)
    run_part, idle_part = running.locate(stops), idling.locate(stops)
    counts = running.part_area_m2 >= least_run_area_m2
    counts[run_part[run_part >= 0]] = True
    idle_part[(idle_part < 0) & (run_part >= 0)] = 0
    thin = np.flatnonzero((run_part < 0) & (idle_part >= 0))
    access: list[Floats | None] = [None] * count
    for row, found in zip(thin, find_gates(stops[thin], running, idling, counts), strict=True):
        access[row] = found
    gate = stops.copy()
    gated = [int(row) for row in thin if access[row] is not None]
    for at in gated:
        gate[at] = np.asarray(access[at])[-1]
    entered = run_part.copy()
    entered[gated] = running.locate(gate[gated])
    waters, member = np.unique(entered[entered >= 0], return_index=True)
    counts[waters] = True
    links = find_links(running, idling, gate[entered >= 0][member], counts) if len(waters) > 1 else []

    on = np.flatnonzero(entered >= 0)
    points = np.concatenate([gate[on], *(link.coordinates[[0, -1]] for link in links)])
    nodes, number = np.unique(points, axis=0, return_inverse=True)
    number = number.ravel()
    node = np.full(count, -1, dtype=np.int64)
    node[on] = number[: len(on)]
    ways = running.ways(nodes)
    slow_m = ways.length_within(slow)
    joined = np.isfinite(ways.length_m)
    fast_m = np.where(joined, ways.length_m, 0.0) - np.where(joined, np.minimum(slow_m, ways.length_m), 0.0)
    nothing = np.where(joined, 0.0, np.inf)
    sums = _Sums(fast_m / run_speed_mps + slow_m / slow_mps, ways.length_m, nothing, slow_m)
    relay = None
    if links:
        sums, relay = _related(sums, links, number[len(on) :], idle_speed_mps)
    total = _Sums(*(np.full((count, count), np.inf) for _ in range(4)))
    extra = _idled(np.asarray([0.0 if xy_ is None else _length(xy_) for xy_ in access])[on], idle_speed_mps)
    square = np.ix_(on, on)
    total.put(square, extra[:, None] + sums[np.ix_(node[on], node[on])] + extra[None, :])

    direct = np.zeros((count, count), dtype=bool)
    idle_row = np.full(count, -1, dtype=np.int64)
    idle_ways = None
    across = stops[thin][:, None] - stops[thin][None]
    least_s = np.sqrt(across[..., 0] ** 2 + across[..., 1] ** 2) / idle_speed_mps
    same = idle_part[thin][:, None] == idle_part[thin][None]
    hopeful = thin[
        np.any(same & (least_s < total.time_s[np.ix_(thin, thin)]) & ~np.eye(len(thin), dtype=bool), axis=0)
    ]
    if len(hopeful):
        idle_ways = idling.ways(stops[hopeful])
        idle_row[hopeful] = np.arange(len(hopeful))
        square = np.ix_(hopeful, hopeful)
        idled = _idled(idle_ways.length_m, idle_speed_mps)
        better = idled.time_s < total.time_s[square]
        direct[square] = better
        merged = total[square].copy()
        merged.put(better, idled[better])
        total.put(square, merged)
    total = total.mirrored()
    lone = idle_part < 0
    for values in _arrays(total):
        values[lone, lone] = np.inf
    return Passages(
        total.distance_m,
        total.time_s,
        total.idle_m,
        total.slow_m,
        _reasons(total.time_s, stops, idle_part, idling),
        stops,
        node,
        access,
        ways,
        relay,
        idle_ways,
        idle_row,
        direct,
    )
