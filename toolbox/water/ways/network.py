"""The network shortest ways run in: places, corners of the shore, and the straight lines between them.

Where shortest ways between given places can lead at all: dead ends go, corridors keep their taut sides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import csr_array

from ...arrays import Flags, Floats, Ints
from .mesh import turn
from .visibility import Places, corner_sights, place_sights

if TYPE_CHECKING:
    from .mesh import Mesh


def without_dead_ends(mesh: Mesh, holding: Flags) -> Flags:
    """Mark the triangles that do not lie in an arm without places.

    Parameters
    ----------
    mesh
        The water.
    holding
        Triangles that hold a place.

    Returns
    -------
    Triangles left after peeling, again and again, those with one neighbour or none and no place. A shortest
    way never enters the others: it would have to come back through the edge it went in by.
    """
    neighbours = np.where(mesh.twin >= 0, mesh.twin // 3, -1).reshape(-1, 3)
    served = np.zeros(int(mesh.part.max(initial=-1)) + 1, dtype=bool)
    served[mesh.part[holding]] = True
    alive = served[mesh.part]
    degree = np.count_nonzero(neighbours >= 0, axis=1)
    ends = np.flatnonzero(alive & (degree <= 1) & ~holding).tolist()
    # One triangle after the other: plain lists are faster here than arrays.
    near, degrees, left, fixed = neighbours.tolist(), degree.tolist(), alive.tolist(), holding.tolist()
    while ends:
        triangle = ends.pop()
        left[triangle] = False
        for other in near[triangle]:
            if other >= 0 and left[other]:
                degrees[other] -= 1
                if degrees[other] <= 1 and not fixed[other]:
                    ends.append(other)
    return np.asarray(left, dtype=bool)


@dataclass(frozen=True, eq=False)
class Network:
    """Nodes, places first, then corners in the order of their coordinates; edges with their lengths."""

    xy: Floats
    one: Ints
    other: Ints
    length_m: Floats

    def matrix(self) -> csr_array:
        """Return the lengths as a symmetric sparse matrix."""
        size = len(self.xy)
        rows, columns = np.concatenate([self.one, self.other]), np.concatenate([self.other, self.one])
        return csr_array((np.concatenate([self.length_m] * 2), (rows, columns)), shape=(size, size))


def lengths(vectors: Floats) -> Floats:
    """Lengths of vectors (n, 2), rounded alike on every machine, which hypot is not."""
    return np.asarray(np.sqrt(vectors[:, 0] * vectors[:, 0] + vectors[:, 1] * vectors[:, 1]))


def _sides(mesh: Mesh, corner: Ints, towards: Floats) -> tuple[Flags, Flags]:
    """Which of the two cones of tangents of a corner a line lies in; both where they are one line."""
    at = mesh.xy[corner]
    before = turn(at, mesh.xy[mesh.before[corner]], towards)
    after = turn(at, mesh.xy[mesh.after[corner]], towards)
    return (before >= 0.0) & (after >= 0.0), (before <= 0.0) & (after <= 0.0)


def _passing(mesh: Mesh, corner: Ints, xy: Floats, one: Ints, other: Ints, *, places: int) -> Flags:
    """Mark the edges that may be part of a way.

    A taut way that passes a corner comes in one cone of tangents and goes out in the other. A corner with lines in one
    cone only is a dead end; it goes with its edges, and so on.
    """
    ends = np.concatenate([one, other])
    towards = xy[np.concatenate([other, one])]
    first, second = np.ones(len(ends), dtype=bool), np.ones(len(ends), dtype=bool)
    bent = np.flatnonzero(ends >= places)
    first[bent], second[bent] = _sides(mesh, corner[ends[bent] - places], towards[bent])
    edge = np.tile(np.arange(len(one)), 2)
    alive = np.ones(len(one), dtype=bool)
    while True:
        rows = np.flatnonzero(alive[edge])
        count = [np.bincount(ends[rows], weights=side[rows], minlength=len(xy)) for side in (first, second)]
        open_node = (count[0] > 0.0) & (count[1] > 0.0)
        open_node[:places] = True
        left = alive & open_node[one] & open_node[other]
        if np.array_equal(left, alive):
            return alive
        alive = left


def connect(mesh: Mesh, places: Places) -> Network:
    """Make the network of the shortest ways between places.

    Parameters
    ----------
    mesh
        The water.
    places
        Points on it, all different.

    Returns
    -------
    Lines along which the places, and the corners a way between them can bend round, see each other.

    Notes
    -----
    What is left out cannot be part of a shortest way: arms of the water without a place, lines that do not graze the
    corner they end at, corners that lead nowhere.
    """
    holding = np.zeros(len(mesh.triangles), dtype=bool)
    holding[places.triangle] = True
    kept = without_dead_ends(mesh, holding)
    bends = np.zeros(len(mesh.xy), dtype=bool)
    bends[mesh.triangles[kept].ravel()] = True
    bends &= mesh.bends
    (seer, seen), (one, other) = place_sights(mesh, kept, bends, places)
    left, right = corner_sights(mesh, kept, bends)
    count = len(places.xy)
    corner = np.unique(np.concatenate([seen, left, right]))
    node = np.full(len(mesh.xy), -1, dtype=np.int64)
    node[corner] = count + np.arange(len(corner))
    xy = np.concatenate([places.xy, mesh.xy[corner]])
    one = np.concatenate([one, seer, node[left]])
    other = np.concatenate([other, node[seen], node[right]])
    through = _passing(mesh, corner, xy, one, other, places=count)
    one, other = one[through], other[through]
    used = np.zeros(len(xy), dtype=bool)
    used[:count] = True
    used[one], used[other] = True, True
    number = np.cumsum(used) - 1
    return Network(xy[used], number[one], number[other], lengths(xy[one] - xy[other]))
