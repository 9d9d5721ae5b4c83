"""The hard rules of a hold: what must be true of the place where the boat sits, whatever the wind or the depth.

A rule is never traded against another. Every rule that a place breaks is told, so that a structure without a hold can
say why.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from ..errors import UsageError
from ..units import in_words
from .least_depth import least_depth_along, least_depth_inside

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from .depth import DepthSurface
    from .soft_rules import Lie

    Floats = NDArray[np.float64]
    Ints = NDArray[np.intp]
    Bits = NDArray[np.uint8]
    Geometries = NDArray[np.object_]

UNKNOWN: Final = 1
THIN: Final = 2
ABOVE: Final = 4
BLOCKED: Final = 8
ADRIFT: Final = 16
OVER_OTHER: Final = 32
HAZARD: Final = 64

RULES: Final[dict[int, str]] = {
    UNKNOWN: "no depth is known there",
    THIN: "the water is too thin for draft, margin and depth error",
    ABOVE: "the water is shallower than the structure",
    BLOCKED: "land or dry ground lies in the line of cast",
    ADRIFT: "the drift circle reaches into water too thin",
    OVER_OTHER: "another structure is too near",
    HAZARD: "a hazard is too near",
}


@dataclass(frozen=True, kw_only=True)
class HoldRules:
    """Lengths and weights a hold is chosen by; the defaults are common practice.

    Attributes
    ----------
    least_cast_m, cast_m, most_cast_m
        Shortest, preferred and longest cast.
    draft_m, margin_m
        Draft of the boat and water wanted under it; the depth error of the surface comes on top.
    drift_m
        Radius of the circle in which the boat swings and drifts while it holds.
    footprint_m
        Radius round every other structure that the boat keeps off, beside its position error.
    position_error_m
        Position error of structures that do not tell their own.
    wind_from_deg
        Where the wind comes from; None: calm or not known.
    deep_weight, wind_weight, cast_weight
        What the deep side, the wind and the length of cast count. With 1 and 0.5 the wind swings the hold no
        more than 30 degrees off the deep side while all of the ring is open.
    """

    least_cast_m: float = 12.2
    cast_m: float = 21.3
    most_cast_m: float = 27.4
    draft_m: float = 0.6
    margin_m: float = 0.45
    drift_m: float = 3.0
    footprint_m: float = 3.0
    position_error_m: float = 5.0
    wind_from_deg: float | None = None
    deep_weight: float = 1.0
    wind_weight: float = 0.5
    cast_weight: float = 1.0

    def __post_init__(self) -> None:
        for one in fields(self):
            value = getattr(self, one.name)
            if value is None and one.name == "wind_from_deg":
                continue
            if not np.isfinite(value) or value < 0:
                raise UsageError(f"{one.name} is {value}; give a finite number of 0 or more.")
        if not 0 < self.least_cast_m <= self.cast_m <= self.most_cast_m:
            raise UsageError(
                f"The casts are: least {in_words(self.least_cast_m, 'length')}, preferred "
                f"{in_words(self.cast_m, 'length')}, most {in_words(self.most_cast_m, 'length')}; each must be no "
                "longer than the next, and the least more than 0."
            )
        if self.drift_m >= self.least_cast_m:
            raise UsageError(
                f"The drift circle of {in_words(self.drift_m, 'length')} reaches the structure from the least cast of "
                f"{in_words(self.least_cast_m, 'length')}; give a smaller drift or a longer least cast."
            )


@dataclass(frozen=True, eq=False)
class Surroundings:
    """Everything a boat keeps off, apart from thin water.

    Parameters
    ----------
    structures, clear_m
        All structures of the plan and the distance the boat keeps from each while it fishes another.
    hazards, hazard_radius_m
        Things to keep the drift circle off, and their own radius.
    """

    structures: Geometries
    clear_m: Floats
    hazards: Geometries
    hazard_radius_m: Floats
    _tree: shapely.STRtree = field(init=False)
    _hazard_tree: shapely.STRtree = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_tree", shapely.STRtree(self.structures))
        object.__setattr__(self, "_hazard_tree", shapely.STRtree(self.hazards))

    def structure_near(self, places: Geometries, fished: Ints) -> Ints:
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

    def hazard_near(self, places: Geometries, drift_m: float) -> NDArray[np.bool_]:
        """Tell for each place whether its drift circle touches a hazard."""
        found = np.zeros(len(places), dtype=np.bool_)
        if not len(places) or not len(self.hazards):
            return found
        reach = drift_m + float(self.hazard_radius_m.max())
        place, hazard = self._hazard_tree.query(places, predicate="dwithin", distance=reach)
        gap = shapely.distance(places[place], self.hazards[hazard])
        found[place[gap <= drift_m + self.hazard_radius_m[hazard]]] = True
        return found


@dataclass(frozen=True, eq=False)
class Setting:
    """The lake on the day, the rules, and what to keep off.

    Attributes
    ----------
    surface, level_m
        Depth below chart datum, and today's surface minus chart datum.
    rules
        Casts, draft, margins and weights.
    surroundings
        All structures of the plan, and the hazards.
    """

    surface: DepthSurface
    level_m: float
    rules: HoldRules
    surroundings: Surroundings

    @property
    def need_m(self) -> float:
        """Water a hold needs today, the depth error included."""
        return self.rules.draft_m + self.rules.margin_m + self.surface.error_m


def broken_rules(lie: Lie, cast_m: Floats, *, fished: Ints, top_m: Floats, setting: Setting) -> Bits:
    """Tell which hard rules each place breaks.

    Parameters
    ----------
    lie, cast_m
        Points of the structure that are cast to, directions from there to the boat, and how far it stands off.
    fished
        Row of that structure among the surroundings.
    top_m
        Today's depth of the structure's top.
    setting
        What the rules are checked against.

    Returns
    -------
    The sum of the keys of `RULES` broken by each place; 0 where it may be a hold.

    Notes
    -----
    A place is shallower than the structure when it is so by more than the depth error. Lines of cast and
    drift circles are checked exactly on the surface (`castshed.toolbox.water.least_depth`).
    """
    broken = np.zeros(len(cast_m), dtype=np.uint8)
    if not len(cast_m):
        return broken
    surface, level_m, drift_m = setting.surface, setting.level_m, setting.rules.drift_m
    x, y = lie.x + cast_m * lie.east, lie.y + cast_m * lie.north
    depth = surface.at(x, y) + level_m
    along = least_depth_along(surface, lie.x, lie.y, x, y, level_m=level_m)
    inside = least_depth_inside(surface, x, y, drift_m, level_m=level_m)
    places = np.asarray(shapely.points(x, y))
    for rule, fails in (
        (UNKNOWN, np.isnan(depth)),
        (THIN, depth < setting.need_m),
        (ABOVE, depth < top_m - surface.error_m),
        (BLOCKED, ~(along > 0)),
        (ADRIFT, ~(inside >= setting.need_m)),
        (OVER_OTHER, setting.surroundings.structure_near(places, fished) >= 0),
        (HAZARD, setting.surroundings.hazard_near(places, drift_m)),
    ):
        broken[fails] |= rule
    return broken
