"""The soft rules of a hold: what makes one good place better than another, in stated weights."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from .wind_cast import wind_angles_deg

if TYPE_CHECKING:
    from ...arrays import Floats, Indices
    from .deep_side import DeepSide
    from .hold_rules import HoldRules
    from .next_structure import NextStructures
    from .rays import Rays
    from .stance import Lie


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
