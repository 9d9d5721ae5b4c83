"""The order of stops: a cheap tour from a first stop over all others to a last one.

The best order of a few stops, proved by dynamic programming over all their subsets.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from ...errors import NoSafeWay, UsageError
from .order_search import better_order

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from numpy.typing import ArrayLike

    from ...arrays import Flags, Floats, Ints

MOST_STOPS = 14
"""Between first and last. Memory and time grow as 2^k k and 2^k k^2: 14 take 2 MB, 20 would take 170 MB."""


def exact_order(
    cost: Ints, later: Mapping[tuple[int, int], Callable[[Ints], Ints]] | None = None, begin: int = 0
) -> Ints:
    """Find the cheapest order of all nodes from the first to the last one.

    Parameters
    ----------
    cost
        Whole-number costs (k, k), every entry 0 or more; at least two nodes, at most
        ``MOST_STOPS`` between the first and the last. Sums of k of them must fit 62 bits.
    later
        Of steps whose cost depends on what was spent before them (a clock): what is to be added by that. Who spent
        less before such a step must not have spent more after it.
    begin
        What is spent before the first step.

    Returns
    -------
    All nodes, 0 first and k - 1 last. Of equal orders the one that is found first from the end is taken, the
    same on every machine.

    Notes
    -----
    M. Held and R. M. Karp, A dynamic programming approach to sequencing problems, J. SIAM 10 (1962) 196-210:
    the cheapest way through a set of nodes that ends in one of them extends the cheapest way through the set
    without it. Sets are rows of one table, worked size by size, all sets of a size at once.
    """
    last = len(cost) - 1
    inner = last - 1
    if inner < 1:
        return np.arange(len(cost))
    more: dict[int, list[tuple[int, Callable[[Ints], Ints]]]] = {}
    for (one, other), added in (later or {}).items():
        more.setdefault(other, []).append((one, added))
    sets = np.arange(1 << inner)
    size = np.bitwise_count(sets)
    far = np.iinfo(np.int64).max // 2
    least = np.full((len(sets), inner), far, dtype=np.int64)
    before = np.full((len(sets), inner), -1, dtype=np.int8)
    first = np.array([begin], dtype=np.int64)
    for node in range(inner):
        least[1 << node, node] = begin + cost[0, node + 1]
        least[1 << node, node] += sum(int(add(first)[0]) for one, add in more.get(node + 1, []) if not one)

    def through(rows: Ints, node: int) -> Ints:
        spent = least[rows]
        made = spent + cost[1:last, node]
        for one, added in more.get(node, []):
            if one:
                made[:, one - 1] += added(spent[:, one - 1])
        return made

    for members in range(1, inner):
        here = sets[size == members]
        for node in range(inner):
            without = here[here & (1 << node) == 0]
            found = through(without, node + 1)
            best = found.argmin(axis=1)
            row = without | (1 << node)
            least[row, node] = found[np.arange(len(without)), best]
            before[row, node] = best
    left = len(sets) - 1
    node = int(through(sets[-1:], last)[0].argmin())
    order = [last]
    while node >= 0:
        order.append(node + 1)
        left, node = left & ~(1 << node), int(before[left, node])
    return np.array([*order, 0][::-1])


_ROUNDS_PER_STOP = 100
_MOST_ROUNDS = 6_000
_WORK = 1_800_000  # stops times rounds for larger tours: about a second on one core
_SHOWN = 5
_DIGITS = 34  # binary, that a cost is kept to: a length of 10 km to a thousandth of a millimetre
_BITS = 60  # sums of whole orders, missing ways included, stay below 2^60


def _checked(cost: ArrayLike, start: int, end: int) -> Floats:
    matrix = np.array(cost, dtype=np.float64)
    if matrix.ndim != 2 or matrix.shape[0] != matrix.shape[1] or not len(matrix):
        raise UsageError(
            f"the costs have shape {matrix.shape}; give a square table, one row and column a stop"
        )
    count = len(matrix)
    for word, stop in (("start", start), ("end", end)):
        if not (isinstance(stop, (int, np.integer)) and 0 <= stop < count):
            raise UsageError(f"{word} is {stop!r}; give the number of one of the {count} stops, from 0")
    np.fill_diagonal(matrix, 0.0)
    if np.isnan(matrix).any() or (matrix < 0).any():
        row, column = (int(at[0]) for at in np.nonzero(~(matrix >= 0)))
        raise UsageError(
            f"the cost from stop {row} to stop {column} is {matrix[row, column]}; a cost is 0 or more, inf for no way"
        )
    return np.maximum(matrix, matrix.T)


def _some(stops: Sequence[int]) -> str:
    words = [f"stop {stop}" for stop in stops[:_SHOWN]]
    return ", ".join(words) + (f" and {len(stops) - _SHOWN} more" if len(stops) > _SHOWN else "")


def _reached(open_way: Flags, stop: int) -> Flags:
    """Which stops can be reached from one, over others if need be."""
    reached = np.zeros(len(open_way), dtype=bool)
    reached[stop] = True
    while True:
        more = reached | open_way[reached].any(axis=0)
        if (more == reached).all():
            return reached
        reached = more


def _require_ways(cost: Floats, start: int) -> None:
    lost = np.flatnonzero(~_reached(np.isfinite(cost), start)).tolist()
    if lost:
        raise NoSafeWay(f"no way leads from {_some([start])} to {_some(lost)}; leave them out")


def _whole(cost: Floats) -> tuple[Ints, int]:
    """Turn costs into whole numbers, and say what stands for a missing way: more than any order without one.

    The scale is a power of two, so that whole costs are kept exactly; others are rounded in the tenth digit. Whole sums
    do not depend on the order of adding, and costs that differ by rounding errors become equal: every machine decides
    alike.
    """
    finite = np.isfinite(cost)
    most = float(cost[finite].max(initial=0.0))
    room = min(_DIGITS, _BITS - 2 * int(np.ceil(np.log2(len(cost) + 2))))
    scale = room - (int(np.frexp(most)[1]) if most > 0 else 0)
    whole = np.zeros(cost.shape, dtype=np.int64)
    whole[finite] = np.rint(np.ldexp(cost[finite], scale)).astype(np.int64)
    far = (int(whole.max()) + 1) * (len(cost) + 1)
    whole[~finite] = far
    return whole, far


def _opened(cost: Floats, start: int, end: int) -> tuple[Floats, Ints]:
    """Rewrite the task: from the first node over all to the last, each once. Also give the stop of each node.

    The last node is the end, a copy of the start when the tour is closed.
    """
    inner = np.array([stop for stop in range(len(cost)) if stop not in (start, end)], dtype=np.int64)
    stops = np.concatenate(([start], inner, [end]))
    opened = cost[np.ix_(stops, stops)]
    # Nobody leaves the last node or comes to the first.
    opened[-1, :] = np.inf
    opened[:, 0] = np.inf
    return opened, stops


def _first_order(whole: Ints) -> Ints:
    """Order of the opened task to start from: always on to the nearest, by networkx.

    networkx closes every tour by itself and knows no fixed end, so the last node is put in afterwards. Edges are named
    one by one, since a conversion from an array drops those of length 0; the weight is named, since a wrong name
    silently means 1. Its christofides begins nearer to the best, but takes longer than the whole search, which ends
    no better for it.
    """
    import networkx as nx  # only tours of more stops than can be solved exactly pay for it

    count = len(whole) - 1
    graph: Any = nx.DiGraph()
    graph.add_nodes_from(range(count))
    one, other = np.nonzero(~np.eye(count, dtype=bool))
    graph.add_weighted_edges_from(
        zip(one.tolist(), other.tolist(), whole[one, other].tolist(), strict=True), weight="cost"
    )
    cycle = nx.approximation.greedy_tsp(graph, weight="cost", source=0)
    return np.array([*cycle[:-1], count], dtype=np.int64)


def tour(cost: ArrayLike, *, start: int = 0, end: int = 0) -> Ints:
    """Order all stops so that the sum of costs from one to the next is small.

    Parameters
    ----------
    cost
        Cost (n, n) of going from the stop of the row to that of the column, 0 or more, in any unit; inf where
        no way leads. Ways lead both ways: where two costs differ the greater counts. The diagonal plays no part.
    start
        First stop.
    end
        Last stop: equal to ``start`` for a closed tour, or another one.

    Returns
    -------
    All stops once, ``start`` first; a closed tour names its start once and the way back is understood. A closed
    tour runs in the direction in which its second stop has a lower number than its last. The same costs give the
    same order on every machine.

    Raises
    ------
    NoSafeWay
        Stops that cannot be reached; the message names them.
    UsageError
        Costs that are no square table of numbers, or stops that are not in it.

    Notes
    -----
    Up to 14 stops between first and last the order is the best there is (`exact_order`). Above, the nearest-stop order
    of networkx is improved until neither turning a stretch round nor moving up to three stops elsewhere gains, then by
    a limited number of seeded disturbances (`better_order`). What makes it worse: costs that break the triangle
    inequality grossly, and few open ways between many stops, where an order may not be found though there is one; it
    then says so.
    """
    matrix = _checked(cost, start, end)
    if len(matrix) == 1:
        return np.array([start])
    _require_ways(matrix, start)
    opened, stops = _opened(matrix, start, end)
    whole, far = _whole(opened)
    exact = len(stops) - 2 <= MOST_STOPS
    if exact:
        order = exact_order(whole)
    else:
        count = len(stops)
        rounds = min(_ROUNDS_PER_STOP * count, _MOST_ROUNDS, max(_WORK // count, 1))
        order = better_order(whole, _first_order(whole), rounds=rounds)
    missing = np.flatnonzero(whole[order[:-1], order[1:]] == far)
    if len(missing):
        gaps = [f"{_some([stops[order[at]]])} to {_some([stops[order[at + 1]]])}" for at in missing]
        raise NoSafeWay(
            f"{'there is no order' if exact else 'no order was found'} that visits all stops over open ways; "
            f"ways missing: {'; '.join(gaps[:_SHOWN])}. Leave one of them out."
        )
    found = stops[order[:-1]] if start == end else stops[order]
    if start == end and len(found) > 2 and found[1] > found[-1]:
        found = np.concatenate((found[:1], found[:0:-1]))
    return np.asarray(found)
