"""Lines as points at even steps, smoothed and cut into spells; and the drop in the depths across a line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...compiled import compiled

if TYPE_CHECKING:
    from ...arrays import Flags, Floats, Indices
    from ...depth import DepthSurface


def evenly(points: Floats, step_m: float, *, closed: bool = False) -> tuple[Floats, float]:
    """Put points at even steps along a line.

    Parameters
    ----------
    points
        Corners of the line, at least two that differ; of a closed line the last repeats the first.
    step_m
        Step wanted; the step taken divides the line evenly.
    closed
        Whether it is a ring; the points given back do not repeat the first.

    Returns
    -------
    The points and the step taken.
    """
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    count = max(int(along[-1] // step_m), 3)
    step = float(along[-1] / count)
    at = np.arange(count if closed else count + 1) * step
    return np.column_stack([np.interp(at, along, points[:, k]) for k in (0, 1)]), step


def smoothed(values: Floats, reach: int, *, closed: bool = False) -> Floats:
    """Mean over 2 reach + 1 rows; the ends of an open line are continued through their end point, which stays."""
    if reach < 1:
        return values
    if closed:
        padded = np.take(values, np.arange(-reach, len(values) + reach), axis=0, mode="wrap")
    else:
        reach = min(reach, len(values) - 1)
        front = 2 * values[0] - values[1 : reach + 1][::-1]
        back = 2 * values[-1] - values[-reach - 1 : -1][::-1]
        padded = np.concatenate([front, values, back])
    total = np.cumsum(np.concatenate([np.zeros((1, values.shape[1])), padded]), axis=0)
    width = 2 * reach + 1
    return np.asarray((total[width:] - total[:-width]) / width)


def ahead(points: Floats, *, closed: bool = False) -> Floats:
    """Give unit vectors along a line at its points; turned by 90 degrees clockwise they are (y, -x)."""
    way = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    if not closed:
        way[0], way[-1] = points[1] - points[0], points[-1] - points[-2]
    size = np.hypot(*way.T)
    size[size == 0] = 1.0
    return np.asarray(way / size[:, None])


def spells(true: Flags, *, closed: bool = False) -> list[Indices]:
    """Give the runs of true points in order along the line; on a ring a run may go over its seam."""
    count = len(true)
    if count and true.all():
        return [np.arange(count + 1 if closed else count) % count]
    start = int(np.argmin(true)) if closed and count else 0
    turned = np.roll(true, -start)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], turned.astype(np.int8), [0]])))
    return [(np.arange(a, b) + start) % count for a, b in zip(edges[::2], edges[1::2], strict=True)]


def bridged(true: Flags, most: int) -> Flags:
    """Fill runs of at most so many false points that have true ones on both sides."""
    filled = true.copy()
    for gap in spells(~true):
        if len(gap) <= most and gap[0] > 0 and gap[-1] < len(true) - 1:
            filled[gap] = True
    return filled


REACH_M = 70.0  # profiles run this far to each side
_ALONG_M = 12.0  # profiles are averaged over this to each side along the line
_NEAR_M = 8.0  # the steepest place is looked for this close to the line
_SIDE_M = (10.0, 30.0)  # what the sides' slope is taken from, counted from the steepest place
_LAST_M = 55.0  # a drop that is not lost again within this is one
_BREAK = 0.35  # a drop ends where the slope has come down to this share of its excess over the side's


@dataclass(frozen=True)
class Drops:
    """The drop at every point of a line: metres, an entry a point, NaN where the profile holds none.

    `middle` is how far toward the deep side of the line the drop's middle lies; `steeper` is the slope of the steeper
    side; `back` is how much of the drop is lost again within reach, on the worse side.
    """

    top: Floats
    base: Floats
    run: Floats
    middle: Floats
    steeper: Floats
    back: Floats


def to_deep(surface: DepthSurface, points: Floats) -> Floats:
    """Give unit vectors square to a line, toward the side that is deeper at most of its points."""
    way = ahead(points)
    right = np.column_stack([way[:, 1], -way[:, 0]])
    east, west = points + _NEAR_M * right, points - _NEAR_M * right
    rise = surface.at(east[:, 0], east[:, 1]) - surface.at(west[:, 0], west[:, 1])
    known = rise[np.isfinite(rise)]
    return right if known.size == 0 or np.median(known) >= 0 else -right


def _mean_along(profile: Floats, reach: int) -> Floats:
    """Mean of what is known over neighbouring profiles; NaN where the profile's own depth is not known."""
    known = np.isfinite(profile)
    padded = np.pad(np.where(known, profile, 0.0), ((reach + 1, reach), (0, 0)))
    counts = np.pad(known.astype(np.float64), ((reach + 1, reach), (0, 0)))
    width = 2 * reach + 1
    total = np.cumsum(padded, axis=0)
    count = np.cumsum(counts, axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = (total[width:] - total[:-width]) / (count[width:] - count[:-width])
    return np.where(known, mean, np.nan)


@compiled
def _drop(profile: Floats, step: float, out: Floats) -> None:
    """Find the drop in one profile, which runs from the shallow to the deep side with the line at its middle."""
    count = profile.size
    zero = count // 2
    slope = np.full(count, np.nan)
    for i in range(1, count - 1):
        slope[i] = (profile[i + 1] - profile[i - 1]) / (2.0 * step)
    near = int(_NEAR_M / step)
    peak = -1
    for i in range(zero - near, zero + near + 1):
        if slope[i] > 0.0 and (peak < 0 or slope[i] > slope[peak]):
            peak = i
    if peak < 0:
        return
    first, last = int(_SIDE_M[0] / step), int(_SIDE_M[1] / step)
    breaks = np.zeros(2)
    edges = np.zeros(2)
    steeper = 0.0
    for side in range(2):
        sign = -1 if side == 0 else 1
        # The side's slope, from as far out as is known, at least half way.
        far = last
        while far > (first + last) // 2 and (
            not 0 <= peak + sign * far < count or np.isnan(profile[peak + sign * far])
        ):
            far -= 1
        if not 0 <= peak + sign * far < count:
            return
        beside = sign * (profile[peak + sign * far] - profile[peak + sign * first]) / ((far - first) * step)
        if np.isnan(beside):
            return
        beside = max(beside, 0.0)
        steeper = max(steeper, beside)
        limit = beside + _BREAK * (slope[peak] - beside)
        i = peak
        while 0 < i < count - 1 and slope[i] >= limit:
            i += sign
        if not slope[i] < limit:
            return
        share = (slope[i - sign] - limit) / (slope[i - sign] - slope[i])
        breaks[side] = i - sign + sign * share
        edges[side] = profile[i - sign] + share * (profile[i] - profile[i - sign])
    lost = 0.0
    for i in range(int(np.ceil(breaks[1])), min(count, int(breaks[1] + _LAST_M / step) + 1)):
        if not np.isnan(profile[i]):
            lost = max(lost, edges[1] - profile[i])
    for i in range(max(0, int(breaks[0] - _LAST_M / step)), int(breaks[0]) + 1):
        if not np.isnan(profile[i]):
            lost = max(lost, profile[i] - edges[0])
    out[0], out[1] = edges[0], edges[1]
    out[2] = (breaks[1] - breaks[0]) * step
    out[3] = (breaks[0] + breaks[1] - 2 * zero) / 2.0 * step
    out[4] = steeper
    out[5] = lost


@compiled
def _all_drops(profiles: Floats, step: float, out: Floats) -> None:
    for k in range(profiles.shape[0]):
        _drop(profiles[k], step, out[k])


def drops_along(surface: DepthSurface, points: Floats, deep: Floats, step_m: float) -> Drops:
    """Read the drop at every point of a line.

    Parameters
    ----------
    surface
        Depths.
    points
        Points of the line at even steps.
    deep
        Unit vectors square to it, toward the deep side.
    step_m
        Distance between the points.
    """
    step = max(1.0, min(surface.cell_x_m, surface.cell_y_m) / 2)
    count = int(REACH_M / step)
    off = step * np.arange(-count, count + 1)
    at = points[:, None, :] + off[None, :, None] * deep[:, None, :]
    profiles = _mean_along(surface.at(at[..., 0], at[..., 1]), int(_ALONG_M / step_m))
    out = np.full((len(points), 6), np.nan)
    _all_drops(profiles, step, out)
    return Drops(*out.T)
