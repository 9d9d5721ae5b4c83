"""How near the boat comes to the structures round the one it fishes."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Self

import numpy as np
import shapely

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.intp]
    Geometries = NDArray[np.object_]


_MOST_PAIRS: Final = 1_000_000


@dataclass(frozen=True, eq=False)
class NextStructures:
    """Structures round each of those that are fished, one after the other.

    Attributes
    ----------
    first, count
        Where the neighbours of each fished structure begin in ``others``, and how many there are.
    others, bounds
        The neighbours, and the box of each.
    """

    first: Ints
    count: Ints
    others: Geometries
    bounds: Floats = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "bounds", shapely.bounds(self.others).reshape(-1, 4))

    @classmethod
    def build(cls, fished: Geometries, rows: Ints, structures: Geometries, reach_m: float) -> Self:
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
        none = np.empty(0, dtype=np.intp)
        if not len(fished) or not len(structures):
            return cls(
                np.zeros(len(fished), dtype=np.intp), np.zeros(len(fished), dtype=np.intp), structures[none]
            )
        one, other = shapely.STRtree(structures).query(fished, predicate="dwithin", distance=reach_m)
        apart = other != rows[one]
        one, other = one[apart], other[apart]
        wide = np.flatnonzero(shapely.get_dimensions(structures[other]) == 2)
        holds_it = np.zeros(len(one), dtype=np.bool_)
        holds_it[wide] = shapely.covers(structures[other[wide]], structures[rows[one[wide]]])
        one, other = one[~holds_it], other[~holds_it]
        order = np.lexsort((other, one))
        count = np.bincount(one, minlength=len(fished))
        return cls(np.cumsum(count) - count, count, structures[other[order]])

    def gap_m(self, fished: Ints, x: Floats, y: Floats, within_m: float) -> Floats:
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
        gap = np.full(len(x), np.inf)
        number = self.count[fished]
        some = np.flatnonzero(number > 0)
        # In a crowd there are far more pairs than places: so many at a time that memory stays flat.
        batch = np.cumsum(number[some]) // _MOST_PAIRS
        for part in np.split(some, np.flatnonzero(np.diff(batch)) + 1):
            self._near(gap, part, fished, x, y, within_m)
        return gap

    def _near(self, gap: Floats, some: Ints, fished: Ints, x: Floats, y: Floats, within_m: float) -> None:
        """Write the gaps of some places that have neighbours."""
        number = self.count[fished[some]]
        start = np.cumsum(number) - number
        other = np.repeat(self.first[fished[some]] - start, number) + np.arange(int(number.sum()))
        place = np.repeat(some, number)
        # Distances to boxes are cheap, rule most neighbours out, and are those to points themselves.
        west, south, east, north = self.bounds[other].T
        off_x = np.maximum(np.maximum(west - x[place], x[place] - east), 0.0)
        off_y = np.maximum(np.maximum(south - y[place], y[place] - north), 0.0)
        off = np.hypot(off_x, off_y)
        near = off <= within_m
        place, other, off = place[near], other[near], off[near]
        wide = np.flatnonzero((self.bounds[other, :2] != self.bounds[other, 2:]).any(axis=1))
        points = np.asarray(shapely.points(x[place[wide]], y[place[wide]]))
        off[wide] = shapely.distance(points, self.others[other[wide]])
        np.minimum.at(gap, place, off)
