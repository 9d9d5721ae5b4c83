"""Better orders of many stops: local improvement to the end, then a seeded search by small disturbances.

Orders run from a fixed first to a fixed last node. Costs are whole numbers, so that sums are exact and every machine
takes the same decisions.
"""

from __future__ import annotations

from random import Random
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from numpy.typing import NDArray

    Ints = NDArray[np.int64]

_NEIGHBOURS = 8  # nearest nodes tried beside a moved piece; more change little and cost time
_LONGEST_PIECE = 3  # of a moved piece, after Or
_REACH = 100  # nodes within which the three cuts of a disturbance lie
_LENIENCE = 0.3  # mean legs by which a worse order may pass at the start of the search


class _Order:
    """An order under improvement, with what its moves need at hand."""

    def __init__(self, cost: Ints, order: Ints) -> None:
        self.cost = cost
        near = cost.copy()
        np.fill_diagonal(near, np.iinfo(np.int64).max)
        count = min(_NEIGHBOURS, len(cost) - 1)
        self.followers = np.argsort(near, axis=1, kind="stable")[:, :count]
        self.leaders = np.argsort(near, axis=0, kind="stable").T[:, :count]
        self.place = np.empty(len(cost), dtype=np.int64)
        self.take(order)

    def take(self, order: Ints) -> None:
        self.order = order
        self.legs = self.cost[order[:-1], order[1:]]
        self.total = int(self.legs.sum())
        back = self.cost[order[1:], order[:-1]]
        # What it costs more to pass the first k legs the other way round; zero where costs are symmetric.
        self.turned = np.concatenate(([0], np.cumsum(back - self.legs)))
        self.place[order] = np.arange(len(order))

    def best_reversal(self, legs: Ints) -> tuple[int, Ints]:
        """Best gain by passing a stretch the other way round (2-opt), one of its two cuts among some legs."""
        cost, order = self.cost, self.order
        cut, other = legs[:, None], np.arange(len(order) - 1)
        i, j = np.minimum(cut, other), np.maximum(cut, other)
        change = (
            cost[order[i], order[j]]
            + cost[order[i + 1], order[j + 1]]
            - self.legs[i]
            - self.legs[j]
            + self.turned[j]
            - self.turned[i + 1]
        )
        change[i == j] = 0
        at = np.unravel_index(int(change.argmin()), change.shape)
        a, b = int(i[at]), int(j[at])
        return int(change[at]), np.concatenate((order[: a + 1], order[b:a:-1], order[b + 1 :]))

    def _pieces(self, legs: Ints) -> tuple[Ints, Ints, Ints, NDArray[np.bool_]]:
        """Candidate moves: a piece (first, last place), the leg it goes into, and whether it is turned round.

        A move is tried when one of the cut legs is among ``legs`` and one of the new legs joins near nodes.
        """
        order, place, length = self.order, self.place, np.arange(_LONGEST_PIECE)
        end = len(order) - 1
        # Pieces that begin after or end before a cut leg, into the legs beside their near nodes.
        first = np.concatenate((np.repeat(legs + 1, len(length)), (legs[:, None] - length).ravel()))
        last = np.concatenate(((legs[:, None] + 1 + length).ravel(), np.repeat(legs, len(length))))
        whole = (first >= 1) & (last < end)
        first, last = first[whole], last[whole]
        head, tail = order[first], order[last]
        into = np.stack(
            (
                place[self.leaders[head]],
                place[self.followers[tail]] - 1,
                place[self.leaders[tail]],
                place[self.followers[head]] - 1,
            )
        )
        turned = np.array([False, False, True, True])[:, None, None]
        one = np.broadcast_arrays(first[None, :, None], last[None, :, None], into, turned)
        # Pieces that begin or end at a node near the ends of a cut leg, into this leg.
        after = place[self.followers[order[legs]]][:, None, :]
        ahead = place[self.leaders[order[legs + 1]]][:, None, :]
        span = length[:, None]
        still = np.zeros_like(span)
        first = np.stack((after + still, ahead - span, after - span, ahead + still))
        last = np.stack((after + span, ahead + still, after + still, ahead + span))
        two = np.broadcast_arrays(first, last, legs[:, None, None], turned[..., None])
        a, b, q, r = (np.concatenate((x.ravel(), y.ravel())) for x, y in zip(one, two, strict=True))
        good = (a >= 1) & (b < end) & (q >= 0) & (q < end) & ((q < a - 1) | (q > b))
        return a[good], b[good], q[good], r[good]

    def best_transfer(self, legs: Ints) -> tuple[int, Ints]:
        """Best gain by moving a short piece elsewhere (Or-opt), as it is or turned round."""
        cost, order = self.cost, self.order
        a, b, q, turned = self._pieces(legs)
        if not len(a):
            return 0, order
        head, tail = order[np.where(turned, b, a)], order[np.where(turned, a, b)]
        change = (
            cost[order[a - 1], order[b + 1]]
            + cost[order[q], head]
            + cost[tail, order[q + 1]]
            - self.legs[a - 1]
            - self.legs[b]
            - self.legs[q]
            + turned * (self.turned[b] - self.turned[a])
        )
        at = int(change.argmin())
        a0, b0, q0 = int(a[at]), int(b[at]), int(q[at])
        piece = order[a0 : b0 + 1]
        piece = piece[::-1] if turned[at] else piece
        if q0 < a0:
            moved = (order[: q0 + 1], piece, order[q0 + 1 : a0], order[b0 + 1 :])
        else:
            moved = (order[:a0], order[b0 + 1 : q0 + 1], piece, order[q0 + 1 :])
        return int(change[at]), np.concatenate(moved)

    def descend(self, nodes: Iterable[int]) -> None:
        """Take the best move at the legs beside some nodes until none is left that gains."""
        busy = np.zeros(len(self.cost), dtype=bool)
        busy[list(nodes)] = True
        while True:
            at = self.place[np.flatnonzero(busy)]
            legs = np.unique(np.concatenate((at - 1, at)))
            legs = legs[(legs >= 0) & (legs < len(self.order) - 1)]
            change, order = min(self.best_reversal(legs), self.best_transfer(legs), key=lambda move: move[0])
            if change >= 0:
                return
            before = self.order
            self.take(order)
            # The ends of the cut legs have neighbours they did not have.
            cut = np.flatnonzero(np.abs(self.place[before[1:]] - self.place[before[:-1]]) != 1)
            busy[before[cut]] = True
            busy[before[cut + 1]] = True


def _three_cuts(random: Callable[[], float], ends: int, reach: int) -> tuple[int, int, int]:
    """Draw three different legs of an order, all within some reach of each other, in ascending order."""
    offset = int(random() * (ends - reach + 1))
    i, j, k = int(random() * reach), int(random() * (reach - 1)), int(random() * (reach - 2))
    j += j >= i  # the second skips the first, the third both
    low, high = min(i, j), max(i, j)
    k += k >= low
    k += k >= high
    i, j, k = sorted((i, j, k))
    return offset + i, offset + j, offset + k


def better_order(
    cost: NDArray[np.int64],
    order: NDArray[np.int64],
    *,
    rounds: int,
    seed: int = 0,
    progress: Callable[[float], object] | None = None,
) -> NDArray[np.int64]:
    """Improve an order whose first and last node stay where they are.

    Parameters
    ----------
    cost
        Whole-number costs (k, k), asymmetric allowed; the sums of a few orders must fit 62 bits.
    order
        All nodes once, in the order to start from.
    rounds
        Number of disturbances; the answer depends on it and on ``seed``, never on a clock.
    seed
        Seed of the disturbances.
    progress
        Called with the share done, 0 to 1.

    Returns
    -------
    array of int
        The best order met, never dearer than the one given.

    Notes
    -----
    Local moves: reversal of a stretch (G. A. Croes, Operations Research 6 (1958) 791-812), with the cost of the
    stretch passed backwards taken from running sums, so that asymmetric costs are right; and transfer of up to three
    nodes (I. Or, thesis, Northwestern University, 1976). Disturbance: two neighbouring stretches change places, the
    move that neither of the two undoes (O. Martin, S. W. Otto and E. W. Felten, Complex Systems 5 (1991) 299-326). A
    somewhat worse order may be followed at first, less and less later.
    """
    state = _Order(cost, order)
    state.descend(order.tolist())
    best, best_total = state.order, state.total
    ends = len(order) - 1
    if ends < 4:
        return best
    # Only Random.random() is promised to give the same numbers in every version.
    random = Random(seed).random  # noqa: S311  -- disturbances, not secrets
    reach = min(ends, _REACH)
    current, current_total = best, best_total
    lenience = _LENIENCE * best_total / ends
    for number in range(rounds):
        i, j, k = _three_cuts(random, ends, reach)
        parts = (current[: i + 1], current[j + 1 : k + 1], current[i + 1 : j + 1], current[k + 1 :])
        state.take(np.concatenate(parts))
        state.descend(current[[i, i + 1, j, j + 1, k, k + 1]].tolist())
        allowed = lenience * (1.0 - number / rounds) * random()
        if state.total <= current_total + allowed:
            current, current_total = state.order, state.total
            if current_total < best_total:
                best, best_total = current, current_total
        if progress is not None:
            progress((number + 1) / rounds)
    return best
