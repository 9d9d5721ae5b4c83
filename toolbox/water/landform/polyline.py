"""Lines as points at even steps: resampled, smoothed, with the way square to them, and cut into spells."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from ...arrays import Flags, Floats, Indices


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
