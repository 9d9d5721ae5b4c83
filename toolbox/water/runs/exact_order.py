"""The best order of a few stops, proved by dynamic programming over all their subsets."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from ...arrays import Ints

MOST_STOPS = 14
"""Between first and last. Memory and time grow as 2^k k and 2^k k^2: 14 take 2 MB, 20 would take 170 MB."""


def exact_order(cost: Ints) -> Ints:
    """Find the cheapest order of all nodes from the first to the last one.

    Parameters
    ----------
    cost
        Whole-number costs (k, k), every entry 0 or more; at least two nodes, at most
        ``MOST_STOPS`` between the first and the last. Sums of k of them must fit 62 bits.

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
    step = cost[1:last, 1:last]
    sets = np.arange(1 << inner)
    size = np.bitwise_count(sets)
    far = np.iinfo(np.int64).max // 2
    least = np.full((len(sets), inner), far, dtype=np.int64)
    before = np.full((len(sets), inner), -1, dtype=np.int8)
    least[1 << np.arange(inner), np.arange(inner)] = cost[0, 1:last]
    for members in range(1, inner):
        here = sets[size == members]
        for node in range(inner):
            without = here[here & (1 << node) == 0]
            through = least[without] + step[:, node]
            best = through.argmin(axis=1)
            row = without | (1 << node)
            least[row, node] = through[np.arange(len(without)), best]
            before[row, node] = best
    left = len(sets) - 1
    node = int((least[left] + cost[1:last, last]).argmin())
    order = [last]
    while node >= 0:
        order.append(node + 1)
        left, node = left & ~(1 << node), int(before[left, node])
    return np.array([*order, 0][::-1])
