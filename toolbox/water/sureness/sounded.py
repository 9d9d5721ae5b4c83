"""What soundings give where single ones are left out, and how much worse that gets as the gap about them grows."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from scipy.ndimage import distance_transform_edt, maximum_filter1d
from scipy.spatial import cKDTree

from ..bottom.measured import KnownByBlock
from ..bottom.surface import minimum_curvature, scale_of
from .confidence import bending, distance_to, sources_of, steepness
from .error_law import OWN_WAY, upper_quantile
from .held_out import between_centres, discs_of, left_of, nearest_of, windows_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ..bottom.barriers import Grid
    from ..bottom.measured import Measured

    Floats = NDArray[np.float64]
    Floats32 = NDArray[np.float32]

ENOUGH_BANKS: Final = 40
_REACH: Final = (0.7, 1.3)  # radius of what is left out, in ways to data that the lake has
_WIDER: Final = 1.9  # how much wider the second gap is, at the same place
_STRIP_CELLS: Final = 4_000_000
_WINDOWS: Final = 12  # of a lake that is too large to be made whole
_A_DISC: Final = 3  # depths told of one gap
_WANTED: Final = 400
_WANTED_SIDE: Final = 160
_WANTED_PAIRS: Final = 500
_NO_WIDER: Final = 0.05
_MOST_ROUNDS: Final = 10
_MOST_CELLS: Final = 800_000  # of all windows
_SHARE: Final = 0.08  # of the cells of the lake, if that is more
_CELLS_A_WAY: Final = 2.0


@dataclass(frozen=True, eq=False)
class LeftOut:
    """Soundings that were left out: how far the surface is off there, and what tells how far it may be.

    ``off_m`` is surface minus sounded depth; ``away_m`` the way to data, ``gap_m`` that in the middle of the gap;
    ``ashore`` whether the gap reaches the shore; ``place`` numbers the gaps. ``wider`` and ``worse`` are, for places
    in a wider gap, the logarithms of how much longer the ways and how much larger the error gets, ``both_ashore``
    which of these lie near the shore.
    """

    off_m: Floats
    away_m: Floats
    gap_m: Floats
    steep: Floats
    bend: Floats
    ashore: NDArray[np.bool_]
    place: NDArray[np.int64]
    wider: Floats
    worse: Floats
    both_ashore: NDArray[np.bool_]


def own_way(grid: Grid, away_m: Floats32) -> Floats32:
    """Way to data, no less than half of the way across a cell."""
    return np.maximum(away_m, np.float32(0.25 * min(grid.cell_x_m, grid.cell_y_m)))


def gap_of(grid: Grid, away_m: Floats32, reach_m: float) -> Floats32:
    """Way to data in the middle of the gap that a place lies in, which is looked for so far round it."""
    wide, high = (int(np.ceil(reach_m / cell)) for cell in (grid.cell_x_m, grid.cell_y_m))
    gap = np.nan_to_num(away_m, nan=0.0, posinf=0.0)
    gap = maximum_filter1d(gap, 2 * wide + 1, axis=1, output=gap)
    gap = maximum_filter1d(gap, 2 * high + 1, axis=0, output=gap)
    return np.maximum(gap, np.nan_to_num(own_way(grid, away_m), nan=0.0, posinf=0.0), out=gap)


def to_shore(grid: Grid, depth_m: Floats32, gap_m: Floats32) -> Floats32:
    """Way to the shore where that is nearer than data in the middle of the gap; else infinite.

    The shore is told by depths: land is unknown or above 0.
    """
    wet = np.nan_to_num(depth_m, nan=-1.0) > 0
    rows, columns = wet.shape
    halo = int(np.ceil(float(gap_m.max(initial=0.0)) / grid.cell_y_m)) + 2
    high = max(_STRIP_CELLS // max(columns, 1), 1)
    near = np.full(wet.shape, np.inf, dtype=np.float32)
    for top in range(0, rows, high):  # distances take 20 bytes a cell
        first, last = max(top - halo, 0), min(top + high + halo, rows)
        if wet[first:last].all():
            continue
        shore = distance_transform_edt(wet[first:last], sampling=(grid.cell_y_m, grid.cell_x_m))
        inner = np.s_[top - first : min(top + high, rows) - first]
        # Distances lead to centres on land, ways to data to the last ones in the water.
        way = shore[inner].astype(np.float32)
        far = way > gap_m[top : top + high] + 1.5 * max(grid.cell_x_m, grid.cell_y_m)
        near[top : top + high] = np.where(far, np.float32(np.inf), way)
    return near


@dataclass(frozen=True, eq=False)
class Gaps:
    """The gap between soundings that each centre lies in, and the way to the shore where it reaches that."""

    gap_m: Floats32
    shore_m: Floats32

    @property
    def ashore(self) -> NDArray[np.bool_]:
        """Whether the gap reaches the shore."""
        return np.isfinite(self.shore_m)

    def __getitem__(self, part: tuple[slice, slice]) -> Gaps:
        """Take a part of the centres."""
        return Gaps(self.gap_m[part], self.shore_m[part])


def gaps_of(grid: Grid, depth_m: Floats32, away_m: Floats32, reach_m: float) -> Gaps:
    """Find the gaps between soundings; see `gap_of` and `to_shore`."""
    gap = gap_of(grid, away_m, reach_m)
    return Gaps(gap, to_shore(grid, depth_m, gap))


def usual_gap_m(away_m: Floats32) -> float:
    """How far round a place the middle of its gap is looked for: what three quarters of the ways to data are under."""
    sample = away_m.ravel()[:: max(1, away_m.size // 200_000)]
    sample = sample[np.isfinite(sample)]
    return float(np.quantile(sample, 0.75)) if len(sample) else 0.0


def steepest_bank(known: Measured, reach_m: float, spacing_m: float) -> float:
    """Depth over way to the shore that soundings near it seldom exceed (2.5 %); infinite where they are too few.

    A shore lies right to ``spacing_m``, which is added to the way.
    """
    if not known.shores or not len(known.xy):
        return float("inf")
    shores = shapely.get_coordinates(shapely.segmentize(known.lines[: known.shores], spacing_m))
    way = nearest_of(cKDTree(shores), known.xy)[0][:, 0]
    near = (way > 0) & (way < reach_m)
    if near.sum() < ENOUGH_BANKS:
        return float("inf")
    return upper_quantile(known.depth_m[near] / (way[near] + spacing_m), 0.975)


def _told(
    grid: Grid, left: Measured, points: Floats, reach_m: float, tension: float | None
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Say what the surface without them is off at some points, with the features there."""
    depth = minimum_curvature(grid, left, tension=tension)
    scale = scale_of(grid, left)
    away = distance_to(grid, scale.shore.water, scale.shore.bars, sources_of(scale))
    column, row = grid.places(points[:, :2]).T
    r = np.rint(row).astype(np.int64).clip(0, grid.rows - 1)
    c = np.rint(column).astype(np.int64).clip(0, grid.columns - 1)
    gaps = gaps_of(grid, depth, away, reach_m)
    layers = (own_way(grid, away), gaps.gap_m, steepness(depth, grid), bending(depth, grid))
    table = np.column_stack([layer[r, c].astype(np.float64) for layer in layers])
    off = between_centres(depth, row, column) - points[:, 2]
    off[~np.isfinite(table).all(axis=1)] = np.nan
    return off, table, gaps.ashore[r, c]


def _in_discs(points: Floats, centre: Floats, radius: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows of a few points in each disc, nearest to its middle first, and which disc."""
    ways, nearest = nearest_of(cKDTree(centre), points[:, :2])
    rows = np.flatnonzero(ways[:, 0] < radius[nearest[:, 0]])
    disc = nearest[rows, 0]
    order = np.lexsort((ways[rows, 0], disc))
    rows, disc = rows[order], disc[order]
    starts = np.flatnonzero(np.r_[True, np.diff(disc) > 0])
    rank = np.arange(len(disc)) - np.repeat(starts, np.diff(np.r_[starts, len(disc)]))
    few = rank < _A_DISC
    return rows[few], disc[few]


def _one_window(
    grid: Grid,
    box: tuple[float, float, float, float],
    near: Measured,
    ways: Floats,
    rng: np.random.Generator,
    reach_m: float,
    tension: float | None,
    paired: bool,
) -> LeftOut | None:
    points = near.points(grid.cell_x_m, shore=False)[:, :3]
    times = _WIDER if paired else 1.0
    centre, radius = discs_of(points, ways * times, box, rng, _REACH)
    if not len(centre):
        return None
    rows, disc = _in_discs(points, centre, radius / times)
    left = left_of(near, centre, radius / times)
    if not len(left.xy):
        return None
    off, table, ashore = _told(grid, left, points[rows], reach_m, tension)
    wider = worse = np.empty(0)
    beside = np.empty(0, dtype=np.bool_)
    fits = np.isfinite(off)
    far = left_of(near, centre, radius)
    if paired and fits.any() and len(far.xy):
        off_far, table_far, _ = _told(grid, far, points[rows], reach_m, tension)
        both = fits & np.isfinite(off_far)
        least = 0.05 * float(np.median(np.abs(off[fits]))) + 1e-6
        wider = np.log(table_far[both, :2] / table[both, :2]) @ np.array([OWN_WAY, 1.0 - OWN_WAY])
        worse = np.log((np.abs(off_far[both]) + least) / (np.abs(off[both]) + least))
        beside = ashore[both]
    away, gap, steep, bend = table[fits].T
    return LeftOut(off[fits], away, gap, steep, bend, ashore[fits], disc[fits], wider, worse, beside)


def leave_soundings_out(
    grid: Grid,
    known: Measured,
    away_m: Floats32,
    reach_m: float,
    *,
    tension: float | None = None,
    seed: int = 0,
) -> LeftOut | None:
    """Leave soundings out, make the surface without them, and tell how far it is off there; None where there are none.

    Parameters
    ----------
    grid, known, tension
        As for `minimum_curvature`.
    away_m
        Way from each centre to the nearest datum: what is left out leaves gaps like those that the lake has.
    reach_m
        As for `gap_of`.
    seed
        Of what is left out.

    Notes
    -----
    Gaps are kept as small as they can be: a gap that one sounding leaves is wider than those between all of them, and
    the wider it is, the farther its errors have to be carried back to those of the lake. By what power of the way that
    is, places tell that are left out twice, in a smaller and in a wider gap (`error_law`).
    """
    rng = np.random.default_rng([seed, len(known.lines), len(known.xy)])
    wet = np.flatnonzero(np.isfinite(away_m.ravel()) & (away_m.ravel() >= 0))
    if not len(wet):
        return None
    wet = rng.choice(wet, min(len(wet), 20_000), replace=False)
    cell = max(grid.cell_x_m, grid.cell_y_m)
    ways = np.maximum(away_m.ravel()[wet].astype(np.float64), 0.5 * cell)
    row, column = np.divmod(wet, grid.columns)
    places = np.column_stack(
        [grid.west_m + (column + 0.5) * grid.cell_x_m, grid.north_m - (row + 0.5) * grid.cell_y_m]
    )
    cell = max(cell, float(np.median(ways)) / _CELLS_A_WAY)
    by_block = KnownByBlock(known)
    windows = windows_of(grid, cell, places, rng, least=_WINDOWS)
    allowed = max(_MOST_CELLS, _SHARE * grid.rows * grid.columns)
    parts: list[LeftOut] = []
    first, shore, pairs, spent = 0, 0, 0, 0.0
    for k, window in enumerate(windows * _MOST_ROUNDS):
        passes = k // len(windows)
        paired = pairs < _WANTED_PAIRS
        if passes and ((first >= _WANTED and min(shore, first - shore) >= _WANTED_SIDE) or spent > allowed):
            break
        near = known if window.whole else by_block.within(window.grid)
        if not len(near.xy):
            continue
        spent += window.grid.rows * window.grid.columns * (2 if paired else 1)
        one = _one_window(window.grid, window.box, near, ways, rng, reach_m, tension, paired)
        if one is None or not len(one.off_m):
            continue
        parts.append(replace(one, place=one.place + first))
        first += int(one.place.max()) + 1
        pairs += int((one.wider > _NO_WIDER).sum())
        shore += len(np.unique(one.place[one.ashore]))
    if not parts:
        return None
    return LeftOut(
        *(np.concatenate([getattr(part, name) for part in parts]) for name in LeftOut.__dataclass_fields__)
    )
