"""Ways at two depths of care: run where the water is safe on plane, idle where it is safe only slowly."""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import dataclass
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from ...arrays import Flags, Floats, Ints
from ...compiled import begun
from ...errors import NoSafeWay, UsageError
from .bottlenecks import sills
from .gates import Relay, Sums, arrays, find_gates, find_links, idled, related
from .navigation import as_points
from .reasons import reasons

if TYPE_CHECKING:
    from .navigation import SafeWater, Ways
    from .safe_water import LakeToday

Leg = tuple[str, Floats]

RUN, IDLE = "run", "idle"
LEAST_RUN_AREA_M2 = 10_000.0


@dataclass(frozen=True, eq=False)
class Passages:
    """Quickest ways between all pairs of stops under the rule of `passages`."""

    # arrays (n, n): length of the way, its time, the length idled, the length run within slow zones; inf
    # where no way leads
    distance_m: Floats
    time_s: Floats
    idle_m: Floats
    slow_m: Floats
    reason: list[str]  # for each stop why it cannot be reached from stop 0; empty where it can
    _stops: Floats
    _node: Ints
    _access: list[Floats | None]
    _running: Ways
    _relay: Relay | None
    _idling: Ways | None
    _idle_row: Ints
    _direct: Flags

    def legs(self, i: int, j: int) -> list[Leg]:
        """List the pieces of the way from stop i to stop j.

        Returns
        -------
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
    lake: LakeToday | None = None,
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
    lake
        What the waters were made from; lets the reasons say why, how wide a strait is and what would open it.

    Returns
    -------
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
    today = None if lake is None else lake.today
    # Where stops lie in other water than the start, the reasons ask for the sills between: a long sum, begun now.
    asked = count > 0 and bool(np.any(idle_part != idle_part[0]))
    work = None if today is None or not asked else partial(sills, today, stops[0], stops)
    with nullcontext() if work is None else begun(work) as thinnest:
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
        fast_m = np.where(joined, ways.length_m, 0.0) - np.where(
            joined, np.minimum(slow_m, ways.length_m), 0.0
        )
        nothing = np.where(joined, 0.0, np.inf)
        sums = Sums(fast_m / run_speed_mps + slow_m / slow_mps, ways.length_m, nothing, slow_m)
        relay = None
        if links:
            sums, relay = related(sums, links, number[len(on) :], idle_speed_mps)
        total = Sums(*(np.full((count, count), np.inf) for _ in range(4)))
        extra = idled(
            np.asarray([0.0 if xy_ is None else _length(xy_) for xy_ in access])[on], idle_speed_mps
        )
        square = np.ix_(on, on)
        total.put(square, extra[:, None] + sums[np.ix_(node[on], node[on])] + extra[None, :])

        direct = np.zeros((count, count), dtype=bool)
        idle_row = np.full(count, -1, dtype=np.int64)
        idle_ways = None
        across = stops[thin][:, None] - stops[thin][None]
        least_s = np.sqrt(across[..., 0] ** 2 + across[..., 1] ** 2) / idle_speed_mps
        same = idle_part[thin][:, None] == idle_part[thin][None]
        hopeful = thin[
            np.any(
                same & (least_s < total.time_s[np.ix_(thin, thin)]) & ~np.eye(len(thin), dtype=bool), axis=0
            )
        ]
        if len(hopeful):
            idle_ways = idling.ways(stops[hopeful])
            idle_row[hopeful] = np.arange(len(hopeful))
            square = np.ix_(hopeful, hopeful)
            by_idling = idled(idle_ways.length_m, idle_speed_mps)
            better = by_idling.time_s < total.time_s[square]
            direct[square] = better
            merged = total[square].copy()
            merged.put(better, by_idling[better])
            total.put(square, merged)
        total = total.mirrored()
        lone = idle_part < 0
        for values in arrays(total):
            values[lone, lone] = np.inf
        reached = np.isfinite(total.time_s[0]) if count else np.empty(0, dtype=bool)
        return Passages(
            total.distance_m,
            total.time_s,
            total.idle_m,
            total.slow_m,
            reasons(stops, reached, idling, lake, thinnest),
            stops,
            node,
            access,
            ways,
            relay,
            idle_ways,
            idle_row,
            direct,
        )
