"""What lies round a boat that holds: other structures, hazards, tall cover, and water no safe way leads to."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from ...arrays import Flags, Floats, Geometries, Indices


@dataclass(frozen=True, eq=False)
class Surroundings:
    """Everything a boat keeps off, apart from thin water.

    Parameters
    ----------
    structures, clear_m
        All structures of the plan and the distance the boat keeps from each while it fishes another.
    hazards, hazard_radius_m
        Things to keep the drift circle off, and their own radius.
    screens, screen_rows
        Areas of tall cover that no cast goes over, and the row of the structure each is. A structure is no screen
        before itself, nor before an aim that lies within it.
    reachable
        Water that safe ways lead to; None: not asked.
    """

    structures: Geometries
    clear_m: Floats
    hazards: Geometries
    hazard_radius_m: Floats
    screens: Geometries = field(default_factory=lambda: np.empty(0, dtype=object))
    screen_rows: Indices = field(default_factory=lambda: np.empty(0, dtype=np.intp))
    reachable: shapely.Geometry | None = None
    _tree: shapely.STRtree = field(init=False)
    _hazard_tree: shapely.STRtree = field(init=False)
    _screen_tree: shapely.STRtree = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_tree", shapely.STRtree(self.structures))
        object.__setattr__(self, "_hazard_tree", shapely.STRtree(self.hazards))
        object.__setattr__(self, "_screen_tree", shapely.STRtree(self.screens))
        shapely.prepare(self.hazards)
        if self.reachable is not None:
            shapely.prepare(self.reachable)

    def structure_near(self, places: Geometries, fished: Indices) -> Indices:
        """Give for each place the row of another structure it lies too near to, -1 where there is none.

        A polygon that holds all of the fished structure, as a flat holds a stump, is no other structure to it.
        """
        found = np.full(len(places), -1, dtype=np.intp)
        if not len(places) or not len(self.structures):
            return found
        place, other = self._tree.query(places, predicate="dwithin", distance=float(self.clear_m.max()))
        near = other != fished[place]
        place, other = place[near], other[near]
        near = shapely.distance(places[place], self.structures[other]) < self.clear_m[other]
        place, other = place[near], other[near]
        wide = shapely.get_dimensions(self.structures[other]) == 2
        holds_it = np.zeros(len(place), dtype=np.bool_)
        holds_it[wide] = shapely.covers(self.structures[other[wide]], self.structures[fished[place[wide]]])
        found[place[~holds_it]] = other[~holds_it]
        return found

    def nearest_other(self, row: int) -> int:
        """Give the row of the structure nearest to one, by its keep-off distance; -1 when it is alone."""
        gap = shapely.distance(self.structures, self.structures[row]) - self.clear_m
        gap[row] = np.inf
        return int(gap.argmin()) if len(gap) > 1 else -1

    def screened(self, aims: Geometries, places: Geometries, fished: Indices) -> Flags:
        """Tell for each place whether tall cover lies between it and the aim of its cast."""
        found = np.zeros(len(places), dtype=np.bool_)
        if not len(places) or not len(self.screens):
            return found
        ends = np.stack([shapely.get_coordinates(aims), shapely.get_coordinates(places)], axis=1)
        place, screen = self._screen_tree.query(shapely.linestrings(ends), predicate="intersects")
        hides = self.screen_rows[screen] != fished[place]
        hides &= ~shapely.intersects(self.screens[screen], aims[place])
        found[place[hides]] = True
        return found

    def out_of_reach(self, x: Floats, y: Floats) -> Flags:
        """Tell for each place whether no safe way leads there."""
        if self.reachable is None:
            return np.zeros(len(x), dtype=np.bool_)
        return ~np.asarray(shapely.intersects_xy(self.reachable, x, y))

    def hazard_near(self, places: Geometries, drift_m: float) -> Flags:
        """Tell for each place whether its drift circle touches a hazard."""
        found = np.zeros(len(places), dtype=np.bool_)
        if not len(places) or not len(self.hazards):
            return found
        reach = drift_m + float(self.hazard_radius_m.max())
        low, high = shapely.bounds(places)[:, :2] - reach, shapely.bounds(places)[:, 2:] + reach
        around = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
        place, hazard = self._hazard_tree.query(around)
        # Hazards are few, large and prepared, places many: the prepared one goes first.
        near = shapely.dwithin(self.hazards[hazard], places[place], drift_m + self.hazard_radius_m[hazard])
        found[place[near]] = True
        return found
