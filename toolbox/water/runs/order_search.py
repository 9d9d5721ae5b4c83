"""Better orders of many stops: local improvement to the end, then a seeded search by small disturbances.

Orders run from a fixed first to a fixed last node. Costs are whole numbers, so that sums are exact and every machine
takes the same decisions.
"""

from __future__ import annotations

import itertools
from random import Random
from typing import TYPE_CHECKING

import numpy as np

from .order_moves import searched

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Ints = NDArray[np.int64]

_NEAREST = (
    8  # nodes tried beside each one: these, and some farther off, so that clusters can be joined otherwise
)
_FARTHER = (9, 12, 16, 24, 36, 54, 81, 120, 180)  # ranks by distance
_STEPS = 2  # of the walks to the second and third leg that a disturbance cuts
_LENIENCE = 1.0  # mean legs by which a worse order may pass at the start of the search
_PARTS = 20  # of the search, between which progress is told
_FEWEST_LEGS = 4  # that can be disturbed


def _near(cost: Ints, *, symmetric: bool) -> NDArray[np.int64]:
    """Nodes tried beside each one, by what it costs to go to them, and where that differs, to come from them."""
    apart = np.minimum(cost, cost.T) if symmetric else cost.copy()
    np.fill_diagonal(apart, np.iinfo(np.int64).max)
    ranks = [rank for rank in (*range(_NEAREST), *_FARTHER) if rank < len(cost) - 1]
    onward = np.argsort(apart, axis=1, kind="stable")[:, ranks]
    if symmetric:
        return np.ascontiguousarray(onward)
    return np.ascontiguousarray(np.hstack([onward, np.argsort(apart, axis=0, kind="stable").T[:, ranks]]))


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
        Called now and then with the share done, 0 to 1.

    Returns
    -------
    array of int
        The best order met, never dearer than the one given.

    Notes
    -----
    Local moves: reversal of a stretch (G. A. Croes, Operations Research 6 (1958) 791-812), with the cost of the
    stretch passed backwards taken from running sums, so that asymmetric costs are right; and transfer of up to three
    nodes (I. Or, thesis, Northwestern University, 1976). Both are tried between near nodes and a few far ones, at the
    nodes whose neighbours changed. Disturbance: two neighbouring stretches change places, the move that neither of the
    two undoes (O. Martin, S. W. Otto and E. W. Felten, Complex Systems 5 (1991) 299-326), cut at nodes met by short
    random walks (D. Applegate, W. Cook and A. Rohe, INFORMS J. Computing 15 (2003) 82-92). A somewhat worse order may
    be followed at first, less and less later.
    """
    last = len(order) - 1
    inner = cost[1:last, 1:last]  # steps from the first node and to the last are never taken the other way
    symmetric = np.array_equal(inner, inner.T)
    near = _near(cost, symmetric=symmetric)
    current, best = order.copy(), order.copy()
    searched(cost, near, current, best, np.empty((0, 1)), np.empty(0), symmetric)
    if last < _FEWEST_LEGS:
        return best
    lenience = _LENIENCE * float(cost[best[:-1], best[1:]].sum()) / last
    # Only Random.random() is promised to give the same numbers in every version.
    random = Random(seed).random  # noqa: S311  -- disturbances, not secrets
    for begin, end in itertools.pairwise(np.linspace(0, rounds, _PARTS + 1).astype(int).tolist()):
        draws = np.array([random() for _ in range((2 * _STEPS + 2) * (end - begin))]).reshape(end - begin, -1)
        allowed = lenience * draws[:, 0] * (1.0 - np.arange(begin, end) / max(rounds, 1))
        searched(cost, near, current, best, draws[:, 1:].copy(), allowed, symmetric)
        if progress is not None:
            progress(end / max(rounds, 1))
    return best
