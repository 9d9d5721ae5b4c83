"""What lies round a boat that holds: other structures, hazards, tall cover, and water no safe way leads to."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Self

import numpy as np
import shapely
from scipy.spatial import cKDTree

from ..ways.mesh import polygon_parts
from ..ways.safe_water import SLOW, safe_waters

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

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


def kept_off(
    hazards: GeoDataFrame | None,
    known_hazards: GeoDataFrame | None,
    zones: GeoDataFrame | None,
    *,
    cover_m: float,
    default_radius_m: float,
) -> tuple[Geometries, Floats]:
    """Collect what the drift circle keeps off, with a radius each.

    Parameters
    ----------
    hazards, known_hazards, zones
        Layers of the day, or None.
    cover_m
        Charted depth over a known hazard from which on the boat passes over it.
    default_radius_m
        Radius of known hazards that tell none.

    Returns
    -------
    Geometries, and what is added round each.
    """
    geometries: list[Geometries] = [np.empty(0, dtype=object)]
    radii: list[Floats] = [np.empty(0)]
    if hazards is not None:
        # Water too thin to run on plane may hold a boat; water too thin to idle may not.
        thin = hazards[hazards["care"] != "run"]
        geometries.append(thin.geometry.to_numpy())
        radii.append(np.zeros(len(thin)))
    if known_hazards is not None:
        top_m = known_hazards["top_depth_m"].to_numpy(dtype=float)
        high = known_hazards[~(top_m >= cover_m)]
        radius_m = high["radius_m"].to_numpy(dtype=float)
        geometries.append(high.geometry.to_numpy())
        radii.append(np.where(np.isnan(radius_m), default_radius_m, np.maximum(radius_m, 0.0)))
    if zones is not None:
        closed = zones[zones["zone"] != SLOW]
        geometries.append(closed.geometry.to_numpy())
        radii.append(np.zeros(len(closed)))
    return np.concatenate(geometries), np.concatenate(radii)


def reachable_water(
    water: GeoDataFrame,
    ramps: GeoDataFrame | None,
    hazards: GeoDataFrame | None,
    zones: GeoDataFrame | None,
    *,
    level_m: float,
    clearance_m: float,
    launch_m: float,
) -> shapely.Geometry:
    """Find the water that a boat can reach at idle from a ramp.

    Parameters
    ----------
    water, ramps, hazards, zones
        Layers of the day; without ramps all safe water counts.
    level_m
        Today's level; ramps that need more are out of use.
    clearance_m
        Distance kept from land, hazards and closed zones.
    launch_m
        How far from safe water a ramp may lie.

    Returns
    -------
    Polygon or MultiPolygon, empty where no ramp is in use.

    Notes
    -----
    The parts of idling water (`safe_water.safe_waters`) that come within ``launch_m`` of a ramp. A part is one
    piece: from any place of it a safe way leads to any other.
    """
    _, idling = safe_waters(water, hazards, zones, clearance_m=clearance_m)
    parts = np.array(polygon_parts(idling), dtype=object)
    if ramps is not None:
        usable = ramps[~(level_m < ramps["min_level_m"].to_numpy(dtype=float))]
        near = shapely.STRtree(parts).query(
            usable.geometry.to_numpy(), predicate="dwithin", distance=launch_m
        )
        parts = parts[np.unique(near[1])]
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(list(parts))
