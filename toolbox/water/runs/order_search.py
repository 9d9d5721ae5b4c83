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
    from ...arrays import Ints


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
