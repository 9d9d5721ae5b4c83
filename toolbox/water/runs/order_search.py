"""Better orders of many stops: local improvement to the end, then a seeded search by small disturbances.

Orders run from a fixed first to a fixed last node. Costs are whole numbers, so that sums are exact and every machine
takes the same decisions.

Moves that shorten an order, at machine speed: stretches turned round, short pieces put elsewhere.

Arrays are copied place by place: for a slice put into a slice numba compiles words for shapes that do not fit, which
takes longer than all that is here.
"""

from __future__ import annotations

import itertools
from random import Random
from typing import TYPE_CHECKING

import numpy as np

from ...compiled import compiled

if TYPE_CHECKING:
    from ...arrays import Flags, Floats, Ints

_LONGEST_PIECE = 3  # of a moved piece, after Or


@compiled
def _copied(source: Ints, first: int, last: int, target: Ints, at: int) -> None:
    """Copy places first to before last to where another array has ``at``."""
    for k in range(first, last):
        target[at + k - first] = source[k]


@compiled
def _settle(state: tuple[Ints, Ints], first: int, last: int) -> None:
    """Bring places up to date after positions first to last have changed."""
    order, place = state
    for k in range(first, last + 1):
        place[order[k]] = k


@compiled
def _gain_of_turning(cost: Ints, order: Ints, i: int, j: int) -> int:
    """Change by passing positions i + 1 to j the other way round."""
    a, b, c, d = order[i], order[i + 1], order[j], order[j + 1]
    return int(cost[a, c] + cost[b, d] - cost[a, b] - cost[c, d])


@compiled
def _gain_of_moving(cost: Ints, order: Ints, a: int, b: int, q: int, back: bool) -> int:
    """Change by putting positions a to b between q and q + 1, turned round if asked."""
    head, tail = order[a], order[b]
    before, after, left, right = order[a - 1], order[b + 1], order[q], order[q + 1]
    change = cost[before, after] - cost[before, head] - cost[tail, after] - cost[left, right]
    if back:
        head, tail = tail, head
    return int(change + cost[left, head] + cost[tail, right])


@compiled
def _turn(order: Ints, first: int, last: int) -> None:
    while first < last:
        order[first], order[last] = order[last], order[first]
        first += 1
        last -= 1


@compiled
def _move(order: Ints, a: int, b: int, q: int, back: bool) -> tuple[int, int]:
    """Put positions a to b between q and q + 1; return the first and last position that changed."""
    length = b - a + 1
    piece = order[a : b + 1].copy()
    if back:
        piece = piece[::-1].copy()
    if q < a:
        for k in range(a - 1, q, -1):
            order[k + length] = order[k]
        _copied(piece, 0, length, order, q + 1)
        return q + 1, b
    for k in range(b + 1, q + 1):
        order[k - length] = order[k]
    _copied(piece, 0, length, order, q - length + 1)
    return a, q


@compiled
def _best_move(cost: Ints, state: tuple[Ints, Ints], near: Ints, node: int) -> tuple[int, int, int, int, int]:
    """Best move that joins a node to one near it: gain, kind (0 turn, 1 move, 2 move turned), places a, b and q."""
    order, place = state
    end = len(order) - 1
    best, kind, best_a, best_b, best_q = 0, 0, 0, 0, 0
    for other in near[node]:
        p, r = place[node], place[other]
        low, high = min(p, r), max(p, r)
        if high < end and low < high:
            change = _gain_of_turning(cost, order, low, high)
            if change < best:
                best, kind, best_a, best_b = change, 0, low, high
        if low > 0:
            change = _gain_of_turning(cost, order, low - 1, high - 1)
            if change < best:
                best, kind, best_a, best_b = change, 0, low - 1, high - 1
        for one, two in ((p, r), (r, p)):  # a piece that begins or ends at the one goes beside the other
            for length in range(_LONGEST_PIECE):
                for way in range(4):
                    a = one if way in (0, 3) else one - length
                    b = a + length
                    q = two if way in (0, 2) else two - 1
                    if a < 1 or b >= end or q < 0 or q >= end or (a - 1 <= q <= b):
                        continue
                    change = _gain_of_moving(cost, order, a, b, q, way > 1)
                    if change < best:
                        best, kind, best_a, best_b, best_q = change, 2 if way > 1 else 1, a, b, q
    return best, kind, best_a, best_b, best_q


@compiled
def _descend(cost: Ints, near: Ints, state: tuple[Ints, Ints], ring: Ints, waiting: Flags, count: int) -> int:
    """Take the best move at each node that waits, until none is left that gains; return the change in all.

    Nodes wait in a ring with room for all of them, the first ``count`` places of which are filled.
    """
    order = state[0]
    size, total, at = len(order), 0, 0
    while count:
        node = ring[at]
        at = (at + 1) % size
        count -= 1
        waiting[node] = False
        while True:
            change, kind, a, b, q = _best_move(cost, state, near, node)
            if change >= 0:
                break
            total += change
            if kind == 0:
                ends = (order[a], order[a + 1], order[b], order[b + 1], node, node)
                _turn(order, a + 1, b)
                _settle(state, a + 1, b)
            else:
                ends = (order[a - 1], order[a], order[b], order[b + 1], order[q], order[q + 1])
                first, last = _move(order, a, b, q, kind == 2)
                _settle(state, first, last)
            for end in ends:
                if end != node and not waiting[end]:
                    waiting[end] = True
                    ring[(at + count) % size] = end
                    count += 1
    return total


@compiled
def _three_cuts(near: Ints, place: Ints, draws: Floats) -> tuple[int, int, int]:
    """Draw three legs near each other, in ascending order: those after a node and after two met by walks from it."""
    legs = len(place) - 1
    begin = int(draws[0] * (legs + 1))
    i = min(place[begin], legs - 1)
    steps = (len(draws) - 1) // 2
    node = begin
    for step in range(steps):
        node = near[node, int(draws[1 + step] * near.shape[1])]
    j = min(place[node], legs - 1)
    node = begin
    for step in range(steps):
        node = near[node, int(draws[1 + steps + step] * near.shape[1])]
    k = min(place[node], legs - 1)
    low, high = min(i, j), max(i, j)
    return min(low, k), max(low, min(high, k)), max(high, k)


@compiled
def searched(
    cost: Ints,
    near: Ints,
    current: Ints,
    best: Ints,
    draws: Floats,
    allowed: Floats,
) -> None:
    """Improve an order; then disturb it again and again, improve it each time, and go on from what is hardly worse.

    Parameters
    ----------
    cost, near
        Whole-number costs, the same both ways between inner nodes, and the nodes tried beside each.
    current, best
        The order to go on from, and the best one met; both are written to.
    draws
        Random numbers (rounds, 1 + 2 k) from 0 to below 1: where, and two walks of k steps to nodes near by.
    allowed
        By how much a worse order may pass, each round.
    """
    legs, size = len(current) - 1, len(current)
    order = current.copy()
    place = np.empty_like(order)
    state = (order, place)
    _settle(state, 0, legs)
    ring, waiting = order.copy(), np.ones(len(order), dtype=np.bool_)
    _descend(cost, near, state, ring, waiting, len(order))
    _copied(order, 0, size, current, 0)
    kept_place = place.copy()
    now, least = 0, 0
    for k in range(legs):
        now += cost[current[k], current[k + 1]]
        least += cost[best[k], best[k + 1]]
    if now < least:
        least = now
        _copied(current, 0, size, best, 0)
    for number in range(len(draws)):
        i, j, k = _three_cuts(near, place, draws[number])
        if j in (i, k):
            continue
        total = now
        for leg in (i, j, k):
            total -= cost[order[leg], order[leg + 1]]
        count = 0
        for end in (order[i], order[i + 1], order[j], order[j + 1], order[k], order[k + 1]):
            if not waiting[end]:
                waiting[end] = True
                ring[count] = end
                count += 1
        _copied(current, j + 1, k + 1, order, i + 1)
        _copied(current, i + 1, j + 1, order, i + 1 + k - j)
        for leg in (i, i + k - j, k):
            total += cost[order[leg], order[leg + 1]]
        _settle(state, i + 1, k)
        total += _descend(cost, near, state, ring, waiting, count)
        if total <= now + allowed[number]:
            now = total
            _copied(order, 0, size, current, 0)
            _copied(place, 0, size, kept_place, 0)
            if now < least:
                least = now
                _copied(order, 0, size, best, 0)
        else:
            _copied(current, 0, size, order, 0)
            _copied(kept_place, 0, size, place, 0)


_NEAREST = (
    8  # nodes tried beside each one: these, and some farther off, so that clusters can be joined otherwise
)
_FARTHER = (9, 12, 16, 24, 36, 54, 81, 120, 180)  # ranks by distance
_STEPS = 2  # of the walks to the second and third leg that a disturbance cuts
_LENIENCE = 1.0  # mean legs by which a worse order may pass at the start of the search
_PARTS = 20  # of the search, drawn for one after the other
_FEWEST_LEGS = 4  # that can be disturbed


def _near(cost: Ints) -> Ints:
    """Nodes tried beside each one, by what it costs to go between them."""
    apart = np.minimum(cost, cost.T)  # steps from the first node and to the last are barred the other way
    np.fill_diagonal(apart, np.iinfo(np.int64).max)
    ranks = [rank for rank in (*range(_NEAREST), *_FARTHER) if rank < len(cost) - 1]
    return np.ascontiguousarray(np.argsort(apart, axis=1, kind="stable")[:, ranks])


def better_order(cost: Ints, order: Ints, *, rounds: int, seed: int = 0) -> Ints:
    """Improve an order whose first and last node stay where they are.

    Parameters
    ----------
    cost
        Whole-number costs (k, k), the same both ways between inner nodes; the sums of a few orders must fit 62 bits.
    order
        All nodes once, in the order to start from.
    rounds
        Number of disturbances; the answer depends on it and on ``seed``, never on a clock.
    seed
        Seed of the disturbances.

    Returns
    -------
    The best order met, never dearer than the one given.

    Notes
    -----
    Local moves: reversal of a stretch (G. A. Croes, Operations Research 6 (1958) 791-812); and transfer of up to
    three nodes (I. Or, thesis, Northwestern University, 1976). Both are tried between near nodes and a few far ones,
    at the nodes whose neighbours changed. Disturbance: two neighbouring stretches change places, the move that
    neither of the two undoes (O. Martin, S. W. Otto and E. W. Felten, Complex Systems 5 (1991) 299-326), cut at nodes
    met by short random walks (D. Applegate, W. Cook and A. Rohe, INFORMS J. Computing 15 (2003) 82-92). A somewhat
    worse order may be followed at first, less and less later.
    """
    last = len(order) - 1
    near = _near(cost)
    current, best = order.copy(), order.copy()
    searched(cost, near, current, best, np.empty((0, 1)), np.empty(0))
    if last < _FEWEST_LEGS:
        return best
    lenience = _LENIENCE * float(cost[best[:-1], best[1:]].sum()) / last
    # Only Random.random() is promised to give the same numbers in every version.
    random = Random(seed).random  # noqa: S311  -- disturbances, not secrets
    for begin, end in itertools.pairwise(np.linspace(0, rounds, _PARTS + 1).astype(int).tolist()):
        draws = np.array([random() for _ in range((2 * _STEPS + 2) * (end - begin))]).reshape(end - begin, -1)
        allowed = lenience * draws[:, 0] * (1.0 - np.arange(begin, end) / max(rounds, 1))
        searched(cost, near, current, best, draws[:, 1:].copy(), allowed)
    return best
