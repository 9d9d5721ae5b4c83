"""Cols: the lowest cut in the crest between two closed rises."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...compiled import compiled
from .merge_tree import DOWN, RIGHT, holder, local_top, longer, shallower

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...arrays import Floats, Ints
    from .merge_tree import Rises


@dataclass(frozen=True, eq=False)
class Cols:
    """Cols: their cell (flat index), and which two of the rises they lie between."""

    cell: Ints
    one: Ints
    other: Ints


@compiled
def _passes(depth: NDArray[np.float32], owner: NDArray[np.int32]) -> Floats:
    """Find cells from which the bottom rises on two sides, and the tops of the two different rises it rises to."""
    rows, columns = depth.shape
    outside = rows * columns
    out = np.empty((64, 3))
    flat = depth.ravel()
    found = 0
    up = np.empty(8, dtype=np.bool_)
    tops = np.empty(4, dtype=np.int64)
    for r in range(1, rows - 1):
        for c in range(1, columns - 1):
            if not depth[r, c] > 0:
                continue
            cell = r * columns + c
            known = True
            for way in range(8):
                near = (r + DOWN[way]) * columns + c + RIGHT[way]
                known = known and flat[near] > 0
                up[way] = shallower(flat, near, cell)
            if not known:
                continue
            # A deeper corner between two shallower sides does not part them: cells touch across corners.
            for way in range(1, 8, 2):
                if up[way - 1] and up[(way + 1) % 8]:
                    up[way] = True
            arcs = 0
            for way in range(8):
                if up[way] and not up[way - 1]:
                    best = -1
                    turn = way
                    while up[turn % 8]:
                        near = (r + DOWN[turn % 8]) * columns + c + RIGHT[turn % 8]
                        if best < 0 or shallower(flat, near, best):
                            best = near
                        turn += 1
                    tops[arcs] = best
                    arcs += 1
            if arcs < 2:
                continue
            for k in range(arcs):
                top = local_top(depth, tops[k])
                tops[k] = outside if top < 0 else holder(owner, top)
            for k in range(arcs):
                for j in range(k):
                    if tops[k] != tops[j] and tops[k] != outside and tops[j] != outside:
                        if found == out.shape[0]:
                            out = longer(out)
                        out[found, 0] = cell
                        out[found, 1] = min(tops[k], tops[j])
                        out[found, 2] = max(tops[k], tops[j])
                        found += 1
    return out[:found]


def cols_between(depth_m: NDArray[np.float32], rises: Rises, owner: NDArray[np.int32]) -> Cols:
    """Find the lowest cut in the crest from one rise to the next: of all passes between two rises the shallowest.

    Parameters
    ----------
    depth_m
        The grid that was flooded.
    rises, owner
        What `closed_rises` gave for it.
    """
    passes = _passes(np.ascontiguousarray(depth_m), owner).astype(np.int64)
    depth = depth_m.ravel()[passes[:, 0]]
    order = np.lexsort((passes[:, 0], depth, passes[:, 2], passes[:, 1]))
    passes = passes[order]
    first = np.ones(len(passes), dtype=bool)
    first[1:] = (np.diff(passes[:, 1]) != 0) | (np.diff(passes[:, 2]) != 0)
    cell, one, other = passes[first].T
    return Cols(cell, np.searchsorted(rises.top, one), np.searchsorted(rises.top, other))
