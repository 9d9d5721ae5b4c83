"""Where shortest ways between given places can lead at all: dead ends go, corridors keep their taut sides."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...arrays import Flags

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
