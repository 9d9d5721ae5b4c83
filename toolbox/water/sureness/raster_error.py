"""How far a raster may be off, told by itself, and how far a drawn line may lie beside its own, told by its corners.

What bilinear cells of twice the width would get wrong is seen at the centres there are. How much less that is than what
cells of four times the width get wrong is the law by which it is carried on to what the cells themselves get wrong.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from scipy.ndimage import uniform_filter

from ..bottom.barriers import grid_of
from .confidence import steepness
from .error_law import upper_quantile

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...depth import DepthSurface

    Floats = NDArray[np.float32]

SHARE: Final = 0.95
_MEANS: Final = 1.1
"""Cells may hold samples or means. On a bend, means are off by 1.46 times as much as samples (root mean square over a
cell): that lies in between."""
_NEAR: Final = 5  # cells a side within which the bottom is taken to be as rough
_HALO: Final = 24
_STRIP_CELLS: Final = 4_000_000
_LEAST_ROWS: Final = 40
_BINS: Final = 6
_SMOOTHEST: Final = 0.1  # share of the bottom: what is left there of roughness is noise
_TREND: Final = 0.5  # how far a change of the law from scale to scale is carried on
_TREND_LIMITS: Final = (0.6, 1.5)
_LEAST_M: Final = 0.01


def _bends(depth: Floats, step: int) -> tuple[Floats, Floats, Floats]:
    """Tell what cells `step` times as wide get wrong at each centre: between two in a row or column, and among four."""
    padded = np.pad(depth, step, mode="constant", constant_values=np.float32(np.nan))
    rows, columns = depth.shape

    def at(down: int, right: int) -> Floats:
        top, left = step * (1 + down), step * (1 + right)
        return padded[top : top + rows, left : left + columns]

    half, quarter = np.float32(0.5), np.float32(0.25)
    return (
        depth - half * (at(0, -1) + at(0, 1)),
        depth - half * (at(-1, 0) + at(1, 0)),
        depth - quarter * (at(-1, -1) + at(-1, 1) + at(1, -1) + at(1, 1)),
    )


def _roughness(bends: tuple[Floats, ...], near: int) -> Floats:
    """Root mean square of what is got wrong in the neighbourhood; NaN where nothing is known."""
    total, count = np.zeros(bends[0].shape, dtype=np.float32), np.zeros(bends[0].shape, dtype=np.float32)
    for bend in bends:
        known = np.isfinite(bend)
        total += np.where(known, bend, np.float32(0.0)) ** 2
        count += known
    total, count = uniform_filter(total, near, mode="constant"), uniform_filter(count, near, mode="constant")
    with np.errstate(invalid="ignore", divide="ignore"):
        rough = np.sqrt(np.maximum(total, 0.0) / count)
    rough[count < 1e-6] = np.nan
    return np.asarray(rough, dtype=np.float32)


def _strips(rows: int, columns: int) -> list[tuple[int, int]]:
    high = max(_LEAST_ROWS, _STRIP_CELLS // max(columns, 1))
    return [(top, min(top + high, rows)) for top in range(0, rows, high)]


class _Law:
    """How much less cells get wrong than cells twice as wide, by how rough the bottom is there."""

    def __init__(self, ratio: NDArray[np.float64], rough: NDArray[np.float64]) -> None:
        cuts = np.quantile(rough, np.linspace(0.0, 1.0, _BINS + 1)[1:-1]) if len(rough) else np.empty(0)
        place = np.searchsorted(cuts, rough)
        self._rough = np.array([np.median(rough[place == k]) for k in range(_BINS) if (place == k).any()])
        self._times = np.array(
            [upper_quantile(ratio[place == k], SHARE) for k in range(_BINS) if (place == k).any()]
        )

    def at(self, rough: Floats) -> Floats:
        """Half-width for each roughness of one size of cells."""
        if not len(self._rough):
            return rough
        times = np.interp(rough, self._rough, self._times)
        return np.asarray(times * rough, dtype=np.float32)


def raster_error_m(
    surface: DepthSurface, wet: NDArray[np.bool_], *, stated_m: float = 0.0, position_m: float = 0.0
) -> Floats:
    """Half-width within which the true depth lies (95 %), at each cell of a raster.

    Parameters
    ----------
    surface
        Depths; land may be known too.
    wet
        Cells by which the law is told.
    stated_m
        Error of depth that the raster's source states.
    position_m
        Error of position of the source; it counts where the bottom is steep.

    Returns
    -------
    Metres, NaN where the raster has no depth.

    Notes
    -----
    Split-conformal quantiles (Vovk, Gammerman and Shafer 2005, Algorithmic Learning in a Random World; Lei et al. 2018,
    J. Am. Stat. Assoc. 113, 1094-1111) of what cells twice as wide get wrong over what cells four times as wide get
    wrong near by, by how rough it is there; carried on by one step of scale. Where that share itself changes from scale
    to scale, half of the change is carried on.

    What makes the result wrong: bottoms whose small forms are not like their larger ones, such as boulders on mud;
    rasters that were smoothed or interpolated from far fewer depths, which look smoother than the bottom is; errors of
    the whole survey, which no raster shows.
    """
    depth = surface.depth_m
    rows, columns = depth.shape
    fine = np.full(depth.shape, np.nan, dtype=np.float32)
    ratios: list[NDArray[np.float64]] = []
    roughs: list[NDArray[np.float64]] = []
    trends: list[NDArray[np.float64]] = []
    rng = np.random.default_rng(rows * columns)
    for top, bottom in _strips(rows, columns):
        first, last = max(top - _HALO, 0), min(bottom + _HALO, rows)
        part = depth[first:last]
        inner = np.s_[top - first : bottom - first]
        small, large = _bends(part, 1), _bends(part, 2)
        fine[top:bottom] = _roughness(small, _NEAR)[inner]
        coarse = _roughness(large, 2 * _NEAR + 1)[inner]
        coarser = _roughness(_bends(part, 4), 4 * _NEAR + 1)[inner]
        there = wet[top:bottom] & np.isfinite(coarse) & (coarse > 0)
        both = there & (coarser > 0)
        trends.append((fine[top:bottom][both] * coarser[both] / coarse[both] ** 2)[::7].astype(np.float64))
        for bend in small:
            use = np.flatnonzero(there & np.isfinite(bend[inner]))
            if len(use) > 100_000:
                use = rng.choice(use, 100_000, replace=False)
            found = np.abs(bend[inner].ravel()[use]) / coarse.ravel()[use]
            ratios.append(found.astype(np.float64))
            roughs.append(coarse.ravel()[use].astype(np.float64))
    law = _Law(np.concatenate(ratios), np.concatenate(roughs))
    known = fine[wet & np.isfinite(fine)]
    noise = np.float32(np.quantile(known, _SMOOTHEST)) if known.size else np.float32(0.0)
    rim = np.isnan(fine) & np.isfinite(depth)
    fine[rim] = np.float32(np.quantile(known, SHARE)) if known.size else np.float32(0.0)
    trend = np.concatenate(trends)
    change = float(np.nanmedian(trend)) if len(trend) else 1.0
    change = float(np.clip(max(change, 1e-6) ** _TREND, *_TREND_LIMITS))
    error = np.float32(_MEANS * change) * law.at(fine)
    error = np.sqrt(error**2 + noise**2 + np.float32(stated_m) ** 2)
    if position_m:
        error = np.hypot(error, np.float32(position_m) * steepness(depth, grid_of(surface)))
    error = np.maximum(error, np.float32(_LEAST_M))
    error[np.isnan(depth)] = np.nan
    return np.asarray(error, dtype=np.float32)


_OF_HEIGHT: Final = 0.34


def drawn_error_m(lines: NDArray[np.object_]) -> float:
    """Half-width (95 %) of the position of lines, by how coarsely they are drawn; 0 where nothing shows it.

    Notes
    -----
    A line that was generalised keeps a corner only where it stands out from the chord of its neighbours by more than a
    tolerance (Douglas and Peucker 1973, Cartographica 10, 112-122); between corners it may lie off by up to the
    tolerance. The height of corners over those chords, the middle one of all, weighted by length, is thus more than the
    tolerance. On a smooth line drawn densely it is next to nothing.
    """
    xy, line = shapely.get_coordinates(lines, return_index=True)
    if len(xy) < 3:
        return 0.0
    inner = line[2:] == line[:-2]
    chord, first = (xy[2:] - xy[:-2])[inner], (xy[1:-1] - xy[:-2])[inner]
    length = np.hypot(*chord.T)
    second = np.hypot(*(xy[2:] - xy[1:-1])[inner].T)
    own = np.hypot(*first.T) + second
    fits = (length > 0) & (own > 0)
    if not fits.any():
        return 0.0
    height = np.abs(chord[fits, 0] * first[fits, 1] - chord[fits, 1] * first[fits, 0]) / length[fits]
    order = np.argsort(height)
    gone = np.cumsum(own[fits][order])
    return float(_OF_HEIGHT * height[order][np.searchsorted(gone, 0.5 * gone[-1])])
