"""Readings of a sounder made soundings: corrected, held against their neighbours along the track, thinned by cell."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Rows = NDArray[np.int64]

WINDOW: Final = 11
LEAST_IN_WINDOW: Final = 5
MADS: Final = 3.0
LEAST_SPIKE_M: Final = 0.3
SPIKE_SHARE: Final = 0.02
TRACK_GAP_S: Final = 10.0
TRACK_GAP_M: Final = 50.0
_MAD_TO_SD: Final = 1.4826  # of a normal distribution
_BLOCK: Final = 200_000


def track_breaks(x: Floats, y: Floats, time_s: Floats) -> NDArray[np.bool_]:
    """Mark the readings, in order of the track, before which it is interrupted."""
    breaks = np.ones(len(x), dtype=bool)
    if len(x) > 1:
        far = np.hypot(np.diff(x), np.diff(y)) > TRACK_GAP_M
        late = (
            np.abs(np.diff(time_s)) > TRACK_GAP_S
        )  # NaN compares false: a log without times goes by distance
        breaks[1:] = far | late
    return breaks


def jumps(x: Floats, y: Floats, time_s: Floats, most_mps: float) -> NDArray[np.bool_]:
    """Mark positions that lie off the track: far from the one before and the one after, which lie near each other.

    Parameters
    ----------
    x, y, time_s
        In order of the track; where times are unknown a second is taken between readings.
    most_mps
        Speed no boat on the lake exceeds.
    """
    n = len(x)
    off = np.zeros(n, dtype=bool)
    if n < 3:
        return off
    step = np.hypot(np.diff(x), np.diff(y))
    seconds = np.nan_to_num(np.abs(np.diff(time_s)), nan=1.0)
    limit = most_mps * np.maximum(seconds, 0.1) + 15.0
    over = np.hypot(x[2:] - x[:-2], y[2:] - y[:-2])
    far = step > limit
    off[1:-1] = far[:-1] & far[1:] & (over <= limit[:-1] + limit[1:])
    return off


def _median(values: NDArray[Any]) -> Floats:
    """Median of each row; absent values are infinite, a row of them too."""
    ordered = np.sort(values, axis=1)
    count = np.isfinite(values).sum(axis=1)
    rows = np.arange(len(values))
    found: Floats = 0.5 * (
        ordered[rows, np.maximum(count - 1, 0) // 2]
        + ordered[rows, np.minimum(count // 2, values.shape[1] - 1)]
    )
    return found


def spikes(depth_m: Floats, breaks: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], Floats]:
    """Mark readings that depart from those round them along the track.

    Parameters
    ----------
    depth_m
        In order of the track.
    breaks
        Where the track is interrupted, as `track_breaks` marks it.

    Returns
    -------
    tuple of (array, array)
        Whether each is a spike, and what its window makes expect in its place.

    Notes
    -----
    The identifier of Hampel, on a slope: the window is the `WINDOW` readings round one on its stretch of track, the
    trend in it the line through the medians of its two halves. A reading is a spike when it departs from the median
    about that line by more than `MADS` times the median absolute deviation, scaled to a standard deviation, and by
    more than `LEAST_SPIKE_M` plus `SPIKE_SHARE` of the depth, so that an even bottom does not make spikes of its
    noise. A window with fewer than `LEAST_IN_WINDOW` readings judges nothing. What makes the result wrong: a tree
    or a boulder under one or two readings looks like a spike, so a spike shallower than its neighbours may be real.
    """
    n = len(depth_m)
    found, median = np.zeros(n, dtype=bool), np.full(n, np.nan)
    stretch = np.cumsum(breaks)
    steps = np.arange(WINDOW) - WINDOW // 2
    for begin in range(0, n, _BLOCK):
        at = np.arange(begin, min(begin + _BLOCK, n))
        index = at[:, None] + steps
        inside = (index >= 0) & (index < n)
        index = np.clip(index, 0, n - 1)
        inside &= stretch[index] == stretch[at][:, None]
        window = np.where(inside, depth_m[index], np.inf)
        half = WINDOW // 2
        left, right = _median(window[:, :half]), _median(window[:, half + 1 :])
        sure = inside[:, :half].sum(axis=1) >= half // 2 + 1
        sure &= inside[:, half + 1 :].sum(axis=1) >= half // 2 + 1
        with np.errstate(invalid="ignore"):
            trend = np.where(sure, (right - left) / (half + 1), 0.0)
        level = window - trend[:, None] * steps
        middle = _median(level)
        away: Floats = np.where(inside, np.abs(level - middle[:, None]), np.inf).astype(np.float64)
        spread = _MAD_TO_SD * _median(away)
        limit = np.maximum(MADS * spread, LEAST_SPIKE_M + SPIKE_SHARE * np.abs(middle))
        found[at] = (inside.sum(axis=1) >= LEAST_IN_WINDOW) & (np.abs(depth_m[at] - middle) > limit)
        median[at] = middle
    return found, median


def thin(
    x: Floats, y: Floats, depth_m: Floats, cell_m: float, *, least: bool
) -> tuple[Rows, Rows, Floats, Floats]:
    """Choose one reading in each cell of a grid.

    Parameters
    ----------
    x, y, depth_m
        Readings in use.
    cell_m
        Side of a cell.
    least
        Whether the shallowest is chosen; else the middle one by depth, the shallower of two.

    Returns
    -------
    tuple of arrays
        Rows chosen, how many readings their cells hold, and the least and most depth of these.
    """
    if len(x) == 0:
        none = np.empty(0, dtype=np.int64)
        return none, none, np.empty(0), np.empty(0)
    cell = np.floor(np.column_stack([x, y]) / cell_m).astype(np.int64)
    key = (cell[:, 0] - cell[:, 0].min()) * (np.ptp(cell[:, 1]) + 1) + (cell[:, 1] - cell[:, 1].min())
    order = np.lexsort((depth_m, key))
    start = np.flatnonzero(np.concatenate([[True], np.diff(key[order]) > 0]))
    count = np.diff(np.append(start, len(order)))
    pick = start if least else start + (count - 1) // 2
    return order[pick], count, depth_m[order[start]], depth_m[order[start + count - 1]]
