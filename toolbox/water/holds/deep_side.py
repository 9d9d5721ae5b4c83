"""The deep side of a structure: the fall of a plane laid through the water round it.

The deepest cell within reach is a poor guide: on a ridge it lies down a flank, and on an even slope a single
rough cell decides. A least-squares plane weighs all of the water from which the structure can be seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from ...arrays import Flags, Floats, Indices


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
