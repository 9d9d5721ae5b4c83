"""The rules of a hold: the hard ones, true of every place where a boat sits, and the soft ones that rank places.

A rule is never traded against another. Every rule that a place breaks is told, so that a structure without a hold can
say why.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
import shapely

from ...errors import UsageError
from ...parameters import defaults
from ...units import in_words
from ..level.least_depth import least_depth_along, least_depth_inside
from ..level.uncertainty import needed_depth_m
from .surroundings import Surroundings
from .wind_cast import check_factor, upwind_share, wind_angles_deg

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...arrays import Floats, Indices
    from ...depth import DepthSurface
    from .deep_side import DeepSide
    from .rays import Rays
    from .surroundings import NextStructures

    Bits = NDArray[np.uint16]

__all__ = [
    "ABOVE",
    "ADRIFT",
    "BLOCKED",
    "CUT_OFF",
    "HAZARD",
    "OVER_OTHER",
    "RULES",
    "THIN",
    "UNKNOWN",
    "UPWIND",
    "HoldRules",
    "Setting",
    "Surroundings",
    "broken_rules",
    "longest_cast_m",
]

UNKNOWN: Final = 1
THIN: Final = 2
ABOVE: Final = 4
BLOCKED: Final = 8
ADRIFT: Final = 16
OVER_OTHER: Final = 32
HAZARD: Final = 64
UPWIND: Final = 128
CUT_OFF: Final = 256

RULES: Final[dict[int, str]] = {
    UNKNOWN: "no depth is known there",
    THIN: "the water is too thin for draft, margin and depth error",
    ABOVE: "the water is shallower than the structure",
    BLOCKED: "land, dry ground or tall cover lies in the line of cast",
    ADRIFT: "the drift circle reaches into water too thin",
    OVER_OTHER: "another structure is too near",
    HAZARD: "a hazard is too near",
    UPWIND: "a cast that long falls short against the wind",
    CUT_OFF: "no safe water leads there from a ramp",
}


@dataclass(frozen=True, kw_only=True)
class HoldRules:
    """Lengths and weights a hold is chosen by; the defaults are common practice."""

    # shortest, preferred and longest cast
    least_cast_m: float = defaults.LEAST_CAST_M
    cast_m: float = defaults.CAST_M
    most_cast_m: float = defaults.MOST_CAST_M
    # draft of the boat and water wanted under it; the depth error of the surface comes on top
    draft_m: float = defaults.DRAFT_M
    margin_m: float = defaults.MARGIN_M
    drift_m: float = (
        defaults.DRIFT_M
    )  # radius of the circle in which the boat swings and drifts while it holds
    # radius round every other structure that the boat keeps off, beside its position error
    footprint_m: float = defaults.FOOTPRINT_M
    spot_error_m: float = defaults.SPOT_ERROR_M  # position error of structures that do not tell their own
    wind_from_deg: float | None = None  # where the wind comes from; None: calm or not known
    # what the deep side, the wind and the length of cast count. With 1 and 0.5 the wind swings the hold no
    # more than 30 degrees off the deep side while all of the ring is open.
    deep_weight: float = 1.0
    wind_weight: float = 0.5
    cast_weight: float = 1.0
    # error of the level; joined to the depth error of the surface by the root of the sum of squares
    level_error_m: float = 0.0
    upwind_factor: float = (
        defaults.UPWIND_FACTOR
    )  # longest cast straight upwind, as a share of the longest cast
    # where the sun stands and how high; what the caster's shadow on the spot counts. Without a bearing
    # there is no shadow, nor with the sun below the horizon; without a height the shadow has no end.
    sun_bearing_deg: float | None = None
    sun_height_deg: float | None = None
    sun_weight: float = 0.5
    caster_m: float = 2.5  # height of the caster above the water, for the length of the shadow
    next_weight: float = 0.25  # what it counts to sit next to another structure
    # how many holds a structure gets at most, and how far apart they lie, seen from its middle
    most_holds: int = 1
    apart_deg: float = 60.0

    def __post_init__(self) -> None:
        for one in fields(self):
            value = getattr(self, one.name)
            if value is None and one.default is None:
                continue
            if not np.isfinite(value) or (value < 0 and one.name != "sun_height_deg"):
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
        check_factor(self.upwind_factor)
        if self.most_holds < 1 or self.most_holds != int(self.most_holds):
            raise UsageError(f"most_holds is {self.most_holds}; give a whole number of 1 or more.")
        if self.sun_height_deg is not None and not -90 <= self.sun_height_deg <= 90:
            raise UsageError(
                f"sun_height_deg is {self.sun_height_deg}; give an angle from -90 to 90 degrees."
            )
        if not 0 < self.apart_deg <= 180:
            raise UsageError(f"apart_deg is {self.apart_deg}; give an angle above 0 and up to 180 degrees.")


@dataclass(frozen=True, eq=False)
class Setting:
    """The lake on the day, the rules, and what to keep off."""

    # depth below chart datum, and today's surface minus chart datum
    surface: DepthSurface
    level_m: float
    rules: HoldRules  # casts, draft, margins and weights
    surroundings: Surroundings  # all structures of the plan, and the hazards
    # depths lowered where they are less sure than the error counted everywhere; None where that is nowhere.
    # Water enough for the boat is judged by them.
    surely: DepthSurface | None = None

    @property
    def least(self) -> DepthSurface:
        """The depths that water enough for the boat is judged by."""
        return self.surface if self.surely is None else self.surely

    @property
    def need_m(self) -> float:
        """Water a hold needs today, the errors of depth and level included."""
        rules = self.rules
        return needed_depth_m(rules.draft_m, rules.margin_m, self.surface.error_m, rules.level_error_m)


def longest_cast_m(east: Floats, north: Floats, rules: HoldRules) -> Floats:
    """Longest cast from a boat that stands off in a direction: shorter against the wind."""
    angle = wind_angles_deg(east, north, rules.wind_from_deg)
    return rules.most_cast_m * upwind_share(angle, rules.upwind_factor)


def broken_rules(lie: Lie, cast_m: Floats, *, fished: Indices, top_m: Floats, setting: Setting) -> Bits:
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
    drift circles are checked exactly on the surface (`castshed.toolbox.water.level.least_depth`).
    """
    broken = np.zeros(len(cast_m), dtype=np.uint16)
    if not len(cast_m):
        return broken
    rules, around = setting.rules, setting.surroundings
    surface, level_m, drift_m = setting.surface, setting.level_m, rules.drift_m
    x, y = lie.x + cast_m * lie.east, lie.y + cast_m * lie.north
    depth = surface.at(x, y) + level_m
    along = least_depth_along(surface, lie.x, lie.y, x, y, level_m=level_m)
    inside = least_depth_inside(setting.least, x, y, drift_m, level_m=level_m)
    sure = depth if setting.surely is None else setting.surely.at(x, y) + level_m
    places, aims = np.asarray(shapely.points(x, y)), np.asarray(shapely.points(lie.x, lie.y))
    for rule, fails in (
        (UNKNOWN, np.isnan(depth)),
        (THIN, sure < setting.need_m),
        (ABOVE, depth < top_m - surface.error_m),
        (BLOCKED, ~(along > 0) | around.screened(aims, places, fished)),
        (ADRIFT, ~(inside >= setting.need_m)),
        (OVER_OTHER, around.structure_near(places, fished) >= 0),
        (HAZARD, around.hazard_near(places, drift_m)),
        (UPWIND, cast_m > longest_cast_m(lie.east, lie.north, rules) + 1e-9),
        (CUT_OFF, around.out_of_reach(x, y)),
    ):
        broken[fails] |= rule
    return broken


BEST_WIND_ANGLE_DEG: Final = 60.0
"""Angle between cast and wind rated best: bow into the wind, cast across it. Straight upwind the cast falls short;
straight downwind the boat drifts onto the structure (common practice)."""


def shadow_cost(lie: Lie, cast_m: Floats, rules: HoldRules) -> Floats:
    """Tell how much the caster's shadow lies on the aim: 1 on it, 0 from half a cast off.

    Notes
    -----
    The shadow is a straight line from the boat away from the sun, as long as the caster's height over the tangent
    of the sun's height. With d the distance from aim to shadow the cost is ``max(0, 1 - 2 d / cast) ** 2``.
    """
    if rules.sun_bearing_deg is None or (rules.sun_height_deg is not None and rules.sun_height_deg <= 0):
        return np.zeros(len(cast_m))
    sun = np.radians(rules.sun_bearing_deg)
    if rules.sun_height_deg is None:
        length = np.inf
    else:
        length = rules.caster_m / max(np.tan(np.radians(rules.sun_height_deg)), 1e-9)
    # The shadow runs towards (-sin, -cos) of the sun, the cast towards minus the direction of the boat.
    along = cast_m * (lie.east * np.sin(sun) + lie.north * np.cos(sun))
    across = cast_m * (lie.east * np.cos(sun) - lie.north * np.sin(sun))
    off = np.hypot(along - along.clip(0.0, length), across)
    return np.asarray((1.0 - 2.0 * off / cast_m).clip(0.0) ** 2)


def soft_score(
    rays: Rays,
    index: Indices,
    lie: Lie,
    radius_m: Floats,
    *,
    deep: DeepSide,
    rules: HoldRules,
    others: NextStructures | None = None,
) -> Floats:
    """Rate places off structures.

    Parameters
    ----------
    rays, index
        The rays, and for each place the ray whose stretch of structure it belongs to.
    lie, radius_m
        Aim, direction and length of cast of each place.
    deep, rules
        Deep side of each stretch; casts, wind and weights.
    others
        The structures round those that are fished.

    Returns
    -------
    The sum of: the deep side's weight times the cosine of the angle off it (half measured from the aim, half from the
    stretch's middle); the wind's weight times the cosine of the cast's angle off 60 degrees from the wind;
    less the cast's weight times the square of its distance from the preferred cast, in spans from least to most
    cast; less the sun's weight times the share of the caster's shadow on the aim; less the next structure's weight
    times how far the boat is within a longest cast of it; less what lies off the middle of a line.
    """
    group = rays.group[index]
    deep_east, deep_north = deep.east[group], deep.north[group]
    off_x = lie.x + radius_m * lie.east - rays.middle_x[index]
    off_y = lie.y + radius_m * lie.north - rays.middle_y[index]
    off = np.hypot(off_x, off_y)
    off = np.where(off > 0, off, 1.0)
    side = (
        lie.east * deep_east + lie.north * deep_north + (off_x * deep_east + off_y * deep_north) / off
    ) / 2
    score = deep.weight[group] * rules.deep_weight * side
    if rules.wind_from_deg is not None:
        angle = wind_angles_deg(lie.east, lie.north, rules.wind_from_deg)
        score = score + rules.wind_weight * np.cos(np.radians(angle - BEST_WIND_ANGLE_DEG))
    score = score - rules.sun_weight * shadow_cost(lie, radius_m, rules)
    if others is not None:
        x, y = lie.x + radius_m * lie.east, lie.y + radius_m * lie.north
        near = (1.0 - others.gap_m(rays.structure[index], x, y, rules.most_cast_m) / rules.most_cast_m).clip(
            0.0
        )
        score = score - rules.next_weight * near
    span = max(rules.most_cast_m - rules.least_cast_m, 1e-9)
    return np.asarray(score - rules.cast_weight * ((radius_m - rules.cast_m) / span) ** 2 - rays.cost[index])


class Lie(NamedTuple):
    """Aims and directions of rays: points of the structure, and unit vectors from there to the boat."""

    x: Floats
    y: Floats
    east: Floats
    north: Floats
