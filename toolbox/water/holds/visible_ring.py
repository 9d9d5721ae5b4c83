"""The visible ring: the water within a cast of structures that can be seen from them, and its deep side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from .deep_side import DeepSide, deep_sides
from .rays import FAN, Rays, cast_rays

if TYPE_CHECKING:
    from ...arrays import Flags, Floats, Geometries, Indices
    from ...depth import DepthSurface
    from .hold_rules import HoldRules


_STEP_M: Final = 1.5  # finest step along a ray; the line of cast of a chosen hold is checked exactly


@dataclass(frozen=True, eq=False)
class VisibleRing:
    """Water round structures, by ray and length of cast."""

    # the rays, and the lengths of cast looked at
    rays: Rays
    radii_m: Floats
    # today's depth at each ray's aim, and of the structure's top there
    aim_depth_m: Floats
    top_m: Floats
    # today's depth at each length of each ray, and whether the water is open from the aim to there
    depth_m: Floats
    seen: Flags
    deep: DeepSide  # deep side of each group of rays
    # by group of rays: the share of them along which the bottom is deeper a cast off than at the aim, by more than the
    # depth error, and the difference between the deepest and the thinnest water seen
    falling_share: Floats
    relief_m: Floats


def _steps(radii: Floats, step: float) -> tuple[Floats, Indices]:
    """Give distances along a ray, no farther apart than a step, and where among them the lengths of cast are."""
    gaps = np.diff(radii, prepend=0.0)
    count = np.ceil(gaps / step - 1e-9).astype(np.intp)
    between = [np.linspace(end - gap, end, n + 1)[1:] for end, gap, n in zip(radii, gaps, count, strict=True)]
    return np.concatenate([[0.0], *between]), np.cumsum(count)


def _relief_m(seen_m: Floats, aim_m: Floats, rays: Rays) -> Floats:
    """Give the range of the depths seen from each group of rays, its aims included; NaN where no depth is known."""
    known = np.column_stack([aim_m, seen_m])
    least, most = np.full(rays.groups, np.inf), np.full(rays.groups, -np.inf)
    np.minimum.at(least, rays.group, np.where(np.isnan(known), np.inf, known).min(axis=1))
    np.maximum.at(most, rays.group, np.where(np.isnan(known), -np.inf, known).max(axis=1))
    return np.where(most >= least, most - least, np.nan)


def cast_radii_m(rules: HoldRules) -> Floats:
    """Lengths of cast that are tried: least, preferred, most and half-way between; in wind the longest upwind too."""
    least, cast, most = rules.least_cast_m, rules.cast_m, rules.most_cast_m
    radii = [least, (least + cast) / 2, cast, (cast + most) / 2, most]
    if rules.wind_from_deg is not None:
        radii.append(max(least, most * rules.upwind_factor))
    return np.unique(radii)


def look_round(
    structures: Geometries,
    *,
    bottom_m: Floats,
    height_m: Floats,
    surface: DepthSurface,
    level_m: float,
    rules: HoldRules,
) -> VisibleRing:
    """Look out from structures over the water round them.

    Parameters
    ----------
    structures
        Valid, non-empty points, lines and polygons.
    bottom_m, height_m
        Charted depth of the bottom under each (NaN: the surface's own), and height off the bottom.
    surface, level_m, rules
        Depth below chart datum, today's level, casts.

    Returns
    -------
    Rays in the order of the structures.

    Notes
    -----
    Water is seen while every step from the aim outward is wet; the steps are half a cell, or 1.5 m where cells
    are finer than 3 m. Depth that is not known is not water.
    """
    rays = cast_rays(structures, rules.most_cast_m)
    radii = cast_radii_m(rules)
    steps, at = _steps(radii, max(min(surface.cell_x_m, surface.cell_y_m) / 2, _STEP_M))
    x, y = rays.x[:, None] + steps * rays.east[:, None], rays.y[:, None] + steps * rays.north[:, None]
    along = surface.at(x, y) + level_m
    depth = along[:, at]
    seen = np.logical_and.accumulate(along > 0, axis=1)[:, at] & rays.open[:, None]
    deep = deep_sides(
        x[:, at][seen],
        y[:, at][seen],
        depth[seen],
        np.repeat(rays.group, seen.sum(axis=1)),
        rays.groups,
        cast_m=rules.cast_m,
        error_m=surface.error_m,
        sample_m2=np.pi * (radii[-1] ** 2 - radii[0] ** 2) / (FAN * len(radii)),
        cell_m2=surface.cell_x_m * surface.cell_y_m,
    )
    cast = int(np.abs(radii - rules.cast_m).argmin())
    drop = np.where(seen[:, cast], depth[:, cast] - along[:, 0], 0.0)  # what is not seen does not fall
    in_group = np.maximum(np.bincount(rays.group, minlength=rays.groups), 1)
    falling = np.bincount(rays.group, weights=drop > surface.error_m, minlength=rays.groups) / in_group
    given = bottom_m[rays.structure] + level_m
    bottom = np.where(np.isnan(given), along[:, 0], given)
    return VisibleRing(
        rays=rays,
        radii_m=radii,
        aim_depth_m=along[:, 0],
        top_m=bottom - height_m[rays.structure],
        depth_m=depth,
        seen=seen,
        deep=deep,
        falling_share=falling,
        relief_m=_relief_m(np.where(seen, depth, np.nan), along[:, 0], rays),
    )
