"""How far a depth surface may be off at each place: more the farther from data and the steeper the bottom.

What tells how far a surface may be off at a place, besides the way to data: how steep it is and how it bends.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.ndimage import uniform_filter

from ...compiled import compiled
from ..bottom.surface import scale_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from ..bottom.barriers import Grid
    from ..bottom.measured import Measured
    from ..bottom.surface import Scale

    Floats = NDArray[np.float32]

NEAR_M: Final = 25.0


def steepness(depth_m: Floats, grid: Grid) -> Floats:
    """Slope of a surface by its neighbours, one-sided at unknown ones; 0 where there are none."""
    total = np.zeros(depth_m.shape, dtype=np.float32)
    for axis, step in ((1, grid.cell_x_m), (0, grid.cell_y_m)):
        rise = np.abs(np.diff(depth_m, axis=axis)) / np.float32(step)
        rise = np.nan_to_num(rise, copy=False, nan=0.0)
        before = np.zeros(depth_m.shape, dtype=np.float32)
        after = np.zeros(depth_m.shape, dtype=np.float32)
        if axis == 1:
            before[:, 1:], after[:, :-1] = rise, rise
        else:
            before[1:], after[:-1] = rise, rise
        total += np.maximum(before, after) ** 2
    return np.sqrt(total)


def bending(depth_m: Floats, grid: Grid) -> Floats:
    """Second derivative of a surface, root mean square of the water about; 0 where it is not known.

    Land and the rim that ends the surface at the shoreline are left out: the kink there is none of the bottom. Only
    where no three centres in line are water, as across a creek of two cells, that is all there is to tell it by.
    """
    near = max(3, int(NEAR_M / min(grid.cell_x_m, grid.cell_y_m)) | 1)
    wet = np.where(depth_m > 0, depth_m, np.float32(np.nan))
    total = np.zeros(depth_m.shape, dtype=np.float32)
    for axis, step in ((1, grid.cell_x_m), (0, grid.cell_y_m)):
        found = _bends(wet, axis, step, near)
        creek = np.isnan(found) & np.isfinite(wet)
        if creek.any():
            found[creek] = _bends(depth_m, axis, step, near)[creek]
        total += np.nan_to_num(found, copy=False, nan=0.0)
    return np.asarray(np.sqrt(total), dtype=np.float32)


def _bends(depth_m: Floats, axis: int, step_m: float, near: int) -> Floats:
    """Mean square of second derivatives along an axis over so many cells a side; NaN where there are none."""
    bend = np.diff(depth_m, n=2, axis=axis) / np.float32(step_m**2)
    told = np.isfinite(bend)
    inner = np.s_[:, 1:-1] if axis == 1 else np.s_[1:-1]
    total = np.zeros(depth_m.shape, dtype=np.float32)
    count = np.zeros(depth_m.shape, dtype=np.float32)
    total[inner] = np.where(told, bend, np.float32(0.0)) ** 2
    count[inner] = told
    total = uniform_filter(total, near, mode="constant", output=total)
    count = uniform_filter(count, near, mode="constant", output=count)
    with np.errstate(invalid="ignore", divide="ignore"):
        found = np.maximum(total, np.float32(0.0)) / count
    found[count < 0.5 / near**2] = np.nan
    return np.asarray(found, dtype=np.float32)


def features_of(grid: Grid, depth_m: Floats, slope: Floats | None) -> tuple[Floats, Floats]:
    """Steepness and bending at each centre."""
    return (steepness(depth_m, grid) if slope is None else slope), bending(depth_m, grid)


_MOST_ROUNDS: Final = 400
_ON_CONTOUR: Final = 0.1  # of the interval
_BETWEEN: Final = 0.75  # of the interval, far from any contour
_RISE: Final = 2.5
_SOUNDED: Final = 0.9  # of what the bottom falls on the way to the nearest sounding
_AT_SOUNDING_M: Final = 0.15


@compiled
def _spread(
    away: NDArray[np.float32], bars: NDArray[np.uint8], step_x: float, step_y: float, backward: bool
) -> bool:
    """Carry distances on to neighbours over open links, once over the grid; whether any grew less."""
    rows, columns = away.shape
    slant = np.sqrt(step_x * step_x + step_y * step_y)
    changed = False
    for i in range(rows):
        r = rows - 1 - i if backward else i
        for k in range(columns):
            c = columns - 1 - k if backward else k
            best = away[r, c]
            if np.isnan(best):
                continue
            for way in range(4):
                if bars[way, r, c]:
                    continue
                rr = r + (way == 3) - (way == 2)
                cc = c + (way == 0) - (way == 1)
                if rr < 0 or cc < 0 or rr >= rows or cc >= columns or np.isnan(away[rr, cc]):
                    continue
                best = min(best, away[rr, cc] + np.float32(step_x if way < 2 else step_y))
                # Round the corner: on from there to the sides.
                for turn in range(2):
                    on = turn + 2 if way < 2 else turn
                    if bars[on, rr, cc]:
                        continue
                    r2 = rr + (on == 3) - (on == 2)
                    c2 = cc + (on == 0) - (on == 1)
                    if r2 < 0 or c2 < 0 or r2 >= rows or c2 >= columns or np.isnan(away[r2, c2]):
                        continue
                    best = min(best, away[r2, c2] + np.float32(slant))
            if best < away[r, c]:
                away[r, c] = best
                changed = True
    return changed


def distance_to(
    grid: Grid, water: NDArray[np.bool_], bars: NDArray[np.uint8], node: NDArray[np.int64]
) -> NDArray[np.float32]:
    """Way over water from each centre to the nearest of some centres, in steps to the eight neighbours.

    NaN on land, infinite where no way leads to one. Ways in eight directions are up to 8 % too long, never too
    short.
    """
    away = np.where(water, np.float32(np.inf), np.float32(np.nan)).astype(np.float32)
    away.ravel()[node] = 0.0
    spread(grid, away, bars)
    return away


def spread(grid: Grid, away: NDArray[np.float32], bars: NDArray[np.uint8]) -> None:
    """Shorten distances, in place, by all ways over water from centres of which they are known."""
    for k in range(_MOST_ROUNDS):  # round every second headland takes one more
        if not _spread(away, bars, grid.cell_x_m, grid.cell_y_m, k % 2 == 1) and k:
            break


def sources_of(scale: Scale) -> NDArray[np.int64]:
    """Flat indices of the centres that lie at data or at the shore."""
    shore = (scale.shore.bars != 0).any(axis=0) & scale.shore.water
    return np.concatenate([scale.lines[0], scale.soundings[0], np.flatnonzero(shore.ravel())])


def said_error(
    grid: Grid,
    depth_m: NDArray[np.float32],
    away_m: NDArray[np.float32],
    slope: NDArray[np.float32],
    *,
    middle_slope: np.float32,
    interval_m: float | None,
    least_m: float,
) -> NDArray[np.float32]:
    """Turn the way to data and the slope into a half-width; NaN where there is no depth. See `local_error_m`."""
    least = np.float32(min(grid.cell_x_m, grid.cell_y_m) / 2.0)
    fall = np.maximum(away_m, least) * np.maximum(slope, middle_slope)
    if interval_m is None:
        error = np.hypot(np.float32(_AT_SOUNDING_M), np.float32(_SOUNDED) * fall)
    else:
        step = np.float32(interval_m)
        between = np.float32(_BETWEEN) * step * -np.expm1(np.float32(-_RISE) * fall / step)
        error = np.hypot(np.float32(_ON_CONTOUR) * step, between)
    rim = np.isfinite(depth_m) & np.isnan(away_m)
    error[rim] = _ON_CONTOUR * interval_m if interval_m is not None else _AT_SOUNDING_M
    error = np.maximum(error, np.float32(least_m))
    error[~np.isfinite(depth_m)] = np.nan
    return np.asarray(error, dtype=np.float32)


def whole_error_m(error_m: NDArray[np.float32]) -> float:
    """One half-width within which 95 % of all depths lie, where each has a half-width (95 %) of its own.

    The errors of each place are taken to be normal.
    """
    from scipy.special import erfc

    said = error_m[np.isfinite(error_m) & (error_m > 0)].astype(np.float64)
    if not len(said):
        return 0.0
    said = said[:: max(1, len(said) // 100_000)]
    low, high = 0.0, float(said.max())
    for _ in range(40):
        middle = 0.5 * (low + high)
        beyond = float(erfc(1.959964 / np.sqrt(2.0) * middle / said).mean())
        low, high = (middle, high) if beyond > 0.05 else (low, middle)
    return high


def reach_shoals(grid: Grid, error_m: NDArray[np.float32], shoals: NDArray[np.float64] | None) -> None:
    """Raise errors, in place, at and around soundings left out as too shallow, up to what those read."""
    for x, y, read, expected in () if shoals is None else shoals:
        column, row = np.rint(grid.places(np.array([[x, y]]))[0]).astype(np.int64)
        around = np.s_[max(row - 1, 0) : max(row + 2, 0), max(column - 1, 0) : max(column + 2, 0)]
        error_m[around] = np.maximum(error_m[around], np.float32(expected - read))


def over_surface(
    grid: Grid,
    known: Measured,
    depth_m: NDArray[np.float32],
    shoals: NDArray[np.float64] | None,
    error_of: Callable[[NDArray[np.float32], NDArray[np.float32], np.float32], NDArray[np.float32]],
) -> NDArray[np.float32]:
    """Lay errors over a surface, up to what shoals left out read and to the greatest depth.

    Parameters
    ----------
    grid, known, depth_m, shoals
        As for `local_error_m`.
    error_of
        Gives the half-widths of the way to data, the slope and the lake's middle slope.
    """
    scale = scale_of(grid, known)
    away = distance_to(grid, scale.shore.water, scale.shore.bars, sources_of(scale))
    slope = steepness(depth_m, grid)
    wet = scale.shore.water & np.isfinite(depth_m)
    middle = np.float32(np.median(slope[wet])) if wet.any() else np.float32(0.0)
    error = error_of(away, slope, middle)
    reach_shoals(grid, error, shoals)
    deepest = np.float32(np.nanmax(depth_m)) if wet.any() else np.float32(0.0)
    return np.minimum(error, deepest, out=error)


def local_error_m(
    grid: Grid,
    known: Measured,
    depth_m: NDArray[np.float32],
    *,
    interval_m: float | None,
    least_m: float = 0.0,
    shoals: NDArray[np.float64] | None = None,
) -> NDArray[np.float32]:
    """Half-width within which the true depth lies (95 %), at each cell centre.

    Parameters
    ----------
    grid, known
        What the surface was made on and from.
    depth_m
        The surface.
    interval_m
        Usual step between contours; None where there are soundings only.
    least_m
        Error that the data themselves state.
    shoals
        Soundings that were left out though they read less water: rows of x, y, depth, expected depth. There and in
        the cells around, the error reaches up to them.

    Returns
    -------
    Metres, NaN where the surface has no depth, and never above the greatest depth.

    Notes
    -----
    With d the way over water to the nearest datum or shore, and g the slope there or the lake's middle slope,
    whichever is more: between contours of interval s, 0.75 s (1 - exp(-2.5 d g / s)), with a tenth of s on the contour
    itself; from soundings, 0.9 d g with 0.15 m at the sounding itself; the two parts as independent errors. The
    numbers were fitted to made bottoms with swells of all sizes so that 95 % of their errors lie within at every
    distance.

    What makes the result wrong: bottoms rougher than those, errors of the data themselves, which come on top, and data
    that are all wrong in the same way.
    """
    return over_surface(
        grid,
        known,
        depth_m,
        shoals,
        lambda away, slope, middle: said_error(
            grid, depth_m, away, slope, middle_slope=middle, interval_m=interval_m, least_m=least_m
        ),
    )
