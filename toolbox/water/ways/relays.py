"""Lengths and times of ways added up, and ways handed on from one running water to the next over idle links."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.sparse.csgraph import floyd_warshall

from ...arrays import Floats, Ints

if TYPE_CHECKING:
    from .gates import Link


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
