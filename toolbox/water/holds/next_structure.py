"""How near the boat comes to the structures round the one it fishes."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Self

import numpy as np
import shapely
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from ...arrays import Floats, Geometries, Indices


_MOST_PAIRS: Final = 1_000_000


@dataclass(frozen=True, eq=False)
class NextStructures:
    """Structures round each of those that are fished, one after the other."""

    rows: Indices  # row of each fished structure among all
    # all structures that are points, and the row of each
    points: cKDTree
    point_rows: Indices
    # where the other neighbours of each fished structure begin in ``others``, and how many there are
    first: Indices
    count: Indices
    # those neighbours, and the box of each
    others: Geometries
    bounds: Floats = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "bounds", shapely.bounds(self.others).reshape(-1, 4))

    @classmethod
    def build(cls, fished: Geometries, rows: Indices, structures: Geometries, reach_m: float) -> Self:
        """Find the neighbours of structures.

        Parameters
        ----------
        fished, rows
            Structures that are fished, and the row of each among all.
        structures
            All structures.
        reach_m
            How far off a structure is a neighbour.

        Notes
        -----
        A polygon that holds all of the fished structure, as a flat holds a stump, is no neighbour of it.
        """
        is_point = shapely.get_type_id(structures) == 0
        point_rows, wider = np.flatnonzero(is_point), np.flatnonzero(~is_point)
        points = cKDTree(shapely.get_coordinates(structures[point_rows]))
        one, other = shapely.STRtree(structures[wider]).query(fished, predicate="dwithin", distance=reach_m)
        other = wider[other]
        apart = other != rows[one]
        one, other = one[apart], other[apart]
        area = np.flatnonzero(shapely.get_dimensions(structures[other]) == 2)
        holds_it = np.zeros(len(one), dtype=np.bool_)
        holds_it[area] = shapely.covers(structures[other[area]], structures[rows[one[area]]])
        one, other = one[~holds_it], other[~holds_it]
        order = np.lexsort((other, one))
        count = np.bincount(one, minlength=len(fished))
        return cls(rows, points, point_rows, np.cumsum(count) - count, count, structures[other[order]])

    def gap_m(self, fished: Indices, x: Floats, y: Floats, within_m: float) -> Floats:
        """Give the distance from places to the nearest neighbour of the structure fished, where it is within reach.

        Parameters
        ----------
        fished
            Place of the fished structure among those given.
        x, y
            Places.
        within_m
            Reach; neighbours farther off may count as infinitely far.
        """
        gap = self._to_points(fished, x, y, within_m)
        number = self.count[fished]
        some = np.flatnonzero(number > 0)
        # In a crowd there are far more pairs than places: so many at a time that memory stays flat.
        batch = np.cumsum(number[some]) // _MOST_PAIRS
        for part in np.split(some, np.flatnonzero(np.diff(batch)) + 1):
            self._near(gap, part, fished, x, y, within_m)
        return gap

    def _to_points(self, fished: Indices, x: Floats, y: Floats, within_m: float) -> Floats:
        """Give the gap to the nearest point that is not the structure fished itself."""
        if not len(self.point_rows) or not len(x):
            return np.full(len(x), np.inf)
        reach = np.nextafter(within_m, np.inf)
        near = self.points.query(np.column_stack([x, y]), k=2, distance_upper_bound=reach)
        off, at = np.asarray(near[0]), np.asarray(near[1])
        found = np.append(self.point_rows, -1)[np.minimum(at, len(self.point_rows))]  # one past the end: none
        itself = found[:, 0] == self.rows[fished]
        return np.asarray(np.where(itself, off[:, 1], off[:, 0]))

    def _near(
        self, gap: Floats, some: Indices, fished: Indices, x: Floats, y: Floats, within_m: float
    ) -> None:
        """Write the gaps of some places that have neighbours."""
        number = self.count[fished[some]]
        start = np.cumsum(number) - number
        other = np.repeat(self.first[fished[some]] - start, number) + np.arange(int(number.sum()))
        place = np.repeat(some, number)
        # Distances to boxes are cheap, and rule most neighbours out.
        west, south, east, north = self.bounds[other].T
        off_x = np.maximum(np.maximum(west - x[place], x[place] - east), 0.0)
        off_y = np.maximum(np.maximum(south - y[place], y[place] - north), 0.0)
        near = np.hypot(off_x, off_y) <= within_m
        place, other = place[near], other[near]
        points = np.asarray(shapely.points(x[place], y[place]))
        np.minimum.at(gap, place, shapely.distance(points, self.others[other]))
