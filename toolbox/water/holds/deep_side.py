"""The water round a structure that can be seen from it within a cast, and its deep side: the fall of a plane.

The deepest cell within reach is a poor guide: on a ridge it lies down a flank, and on an even slope a single
rough cell decides. A least-squares plane weighs all of the water from which the structure can be seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from .rays import FAN, Rays, cast_rays

if TYPE_CHECKING:
    from ...arrays import Flags, Floats, Geometries, Indices
    from ...depth import DepthSurface
    from .hold_rules import HoldRules

_FAINT = 0.02  # what a side counts at most that does not stand out: enough to break a tie
_FEWEST = 8  # samples below which a plane says nothing
_NARROWEST_M = 1.0  # standard deviation across the narrow way below which the samples stand in a line


@dataclass(frozen=True, eq=False)
class DeepSide:
    """Deep side by group of samples."""

    # unit vector towards deeper water; both 0 where there is none at all
    east: Floats
    north: Floats
    fall_m: Floats  # how much deeper the plane is one cast off, metres
    clear: Flags  # whether the fall stands out from the depth error and from the roughness round the plane
    # what the side counts: 1 where it is clear, next to nothing where not, and 0 on dead level ground
    weight: Floats
    # 0 to 1: the plane's share in the variance of the depths, their own error counted in; 1 is a clean
    # slope without error, 0 level ground or a fall alike on all sides
    directionality: Floats

    @property
    def bearing_deg(self) -> Floats:
        """Bearing towards deeper water, NaN where it is not clear."""
        return np.where(self.clear, np.degrees(np.arctan2(self.east, self.north)) % 360.0, np.nan)


def deep_sides(
    x: Floats,
    y: Floats,
    depth_m: Floats,
    group: Indices,
    groups: int,
    *,
    cast_m: float,
    error_m: float,
    sample_m2: float = 0.0,
    cell_m2: float = 0.0,
) -> DeepSide:
    """Fit a plane to the depths of each group and tell which way it falls.

    Parameters
    ----------
    x, y, depth_m
        Samples of visible water, one-dimensional, all known.
    group, groups
        Group of each sample, 0 to ``groups - 1``.
    cast_m
        Length over which the fall is stated.
    error_m
        Fall below which the ground counts as level.
    sample_m2, cell_m2
        Water each sample stands for and size of a grid cell: samples closer than the cells are not
        independent.

    Returns
    -------
    One entry a group.

    Notes
    -----
    Ordinary least squares, depth = a + b x + c y. The fall is clear when it exceeds ``error_m`` and twice its
    standard error. Round a hump that falls alike on all sides the plane is level: no side is the deep one.
    A plane through less than eight samples, or through samples in a line, is not clear. The answer is wrong
    where the visible water is lopsided and strongly curved at once.
    """

    def add_up(values: Floats) -> Floats:
        return np.bincount(group, weights=values, minlength=groups).astype(np.float64, copy=False)

    count = np.bincount(group, minlength=groups).astype(np.float64)
    safe = np.maximum(count, 1.0)
    dx, dy = x - (add_up(x) / safe)[group], y - (add_up(y) / safe)[group]
    dz = depth_m - (add_up(depth_m) / safe)[group]
    xx, xy, yy = add_up(dx * dx), add_up(dx * dy), add_up(dy * dy)
    xz, yz = add_up(dx * dz), add_up(dy * dz)
    half_sum, half_gap = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    narrow = (half_sum - half_gap) / safe  # variance across the narrow way
    fits = (count >= _FEWEST) & (narrow > _NARROWEST_M**2)
    determinant = np.where(fits, xx * yy - xy * xy, 1.0)
    b = np.where(fits, (yy * xz - xy * yz) / determinant, 0.0)
    c = np.where(fits, (xx * yz - xy * xz) / determinant, 0.0)
    slope = np.hypot(b, c)
    steep = np.where(slope > 0, slope, 1.0)
    left = add_up((dz - b[group] * dx - c[group] * dy) ** 2)
    independent = np.minimum(count, count * sample_m2 / cell_m2) if cell_m2 > 0 else count
    variance = left / np.maximum(count - 3, 1.0) * count / np.maximum(independent, 3.0)
    error_of_slope = np.sqrt(np.where(fits, variance * half_sum / determinant, 0.0))
    fall = slope * cast_m
    clear = fits & (fall > np.maximum(error_m, 2 * error_of_slope * cast_m))
    by_plane = b * b * xx + 2 * b * c * xy + c * c * yy
    # An error of 95 % is two standard deviations.
    whole = by_plane + left + count * (error_m / 2) ** 2
    share = np.where(fits & (whole > 0), by_plane / np.where(whole > 0, whole, 1.0), 0.0)
    faint = _FAINT * np.minimum(fall / max(error_m, 1e-6), 1.0)
    return DeepSide(
        east=b / steep,
        north=c / steep,
        fall_m=fall,
        clear=clear,
        weight=np.where(clear, 1.0, faint),
        directionality=share,
    )


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
