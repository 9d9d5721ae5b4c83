"""A depth surface larger than memory: coarse cells for the whole lake, then fine ones block by block."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from ..bottom.areas import JoinedAreas, area_reach, label_areas, limits_of
from ..bottom.barriers import ASIDE, crossings, segments_of
from ..bottom.measured import Block, KnownByBlock, Shore, blocks_of, shore_on
from ..bottom.surface import Scale, finish, ladder, relax, relax_all, usual_tension
from .band import Band, learn_band
from .confidence import bending, distance_to, reach_shoals, sources_of, spread, steepness
from .error_law import OwnError

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from ..bottom.barriers import Grid
    from ..bottom.measured import Measured

SIDE: Final = 2560
"""Cells a side of a block's core."""

HALO: Final = 32
"""How far a window reaches beyond its core, in cells of the coarsest grid that is made in blocks: what the rim is held
to no longer shows in the core."""

COARSE_CELLS: Final = 6_500_000
"""Cells of the coarse grid at most, which is made in one piece."""

_RIM: Final = 2  # the stencil reads two centres away
_AROUND: Final = 16  # cells round a block that its bending is told by
_SLOPE_BITS: Final = 11  # of a float's 32, left off for counting: slopes to one part in 4096


@dataclass(frozen=True, eq=False)
class _Lake:
    """What all blocks share."""

    grid: Grid
    known: Measured
    by_block: KnownByBlock
    blocks: list[Block]
    levels: int
    tension: float


def _levels(grid: Grid, most: int) -> int:
    """How often cells must be doubled so that the whole lake has at most so many."""
    levels = 1
    while grid.rows * grid.columns / 4**levels > most:
        levels += 1
    return levels


def _in_core(grid: Grid, block: Block, rows: NDArray[np.float64]) -> NDArray[np.float64]:
    place = np.floor(grid.places(rows[:, :2]) + ASIDE + 0.5)
    top, bottom, left, right = block.core
    inside = (place[:, 0] >= left) & (place[:, 0] < right) & (place[:, 1] >= top) & (place[:, 1] < bottom)
    return np.asarray(rows[inside])


def _reach(scale: Scale, known: Measured) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
    east, south = crossings(scale.grid, *segments_of(known.lines))
    data = (scale.soundings[0], scale.soundings[1][:, 2])
    return area_reach(scale.shore.water, east, south, known.line_depth_m, data)


def _pools(scale: Scale) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
    """Label the waters apart from each other by land, and mark with 0 those in which something was measured."""
    label, count = label_areas(scale.shore.water, scale.shore.east, scale.shore.south)
    measured = np.full((1, count + 1), np.inf)
    measured[0, label.ravel()[np.concatenate([scale.lines[0], scale.soundings[0]])]] = 0.0
    return label, measured


@dataclass(frozen=True, eq=False)
class _Survey:
    """What a first look at all blocks finds: what the coarse grid can use, areas, pools, and blocks with water."""

    rows: tuple[NDArray[np.float64], NDArray[np.float64]]
    areas: list[JoinedAreas]
    pools: JoinedAreas
    wet: dict[Block, int]


def _survey(lake: _Lake, step: Callable[[], None]) -> _Survey:
    """Go through all blocks once."""
    grids = [lake.grid]
    for _ in range(lake.levels - 1):
        grids.append(grids[-1].coarser())
    areas = [JoinedAreas(grid.columns) for grid in grids]
    pools = JoinedAreas(lake.grid.columns)
    lines, soundings, wet = [], [], {}
    for block in lake.blocks:
        near = lake.by_block.within(block.grid_of(lake.grid))
        scales, rest = ladder(block.grid_of(lake.grid), near, most=lake.levels)
        lines.append(_in_core(lake.grid, block, rest[0]))
        soundings.append(_in_core(lake.grid, block, rest[1]))
        step()
        if not scales[0].shore.water.any():
            continue
        for level, scale in enumerate(scales):
            at = block.coarse(2**level)
            label, reach = _reach(scale, near)
            wet[block] = areas[level].add(label, reach, (at.window[0], at.window[2]), at.core)
        label, measured = _pools(scales[0])
        pools.add(label, measured, (block.window[0], block.window[2]), block.core)
    for joined in (*areas, pools):
        joined.join()
    return _Survey((np.vstack(lines), np.vstack(soundings)), areas, pools, wet)


def _coarse(lake: _Lake, survey: _Survey) -> tuple[NDArray[np.float32], Shore]:
    """Make the whole lake on coarse cells."""
    grid = lake.grid
    for _ in range(lake.levels):
        grid = grid.coarser()
    scales, _ = ladder(grid, lake.known, rows=survey.rows)
    return relax_all(scales, lake.known, tension=lake.tension), scales[0].shore


def _cut(shore: Shore, at: Block) -> Shore:
    """Take a window out of a shore; where it is crossed is not needed any more."""
    return Shore(
        np.ascontiguousarray(shore.water[at.around]),
        np.ascontiguousarray(shore.bars[:, at.around[0], at.around[1]]),
        shore.east,
        shore.south,
    )


def _fine(
    lake: _Lake, survey: _Survey, block: Block, coarse: NDArray[np.float32], shore: Shore
) -> tuple[Scale, NDArray[np.float32]]:
    """Make one block from the coarse grid: its finest scale, and the depths in its window."""
    grid = block.grid_of(lake.grid)
    near = lake.by_block.within(grid)
    scales, _ = ladder(grid, near, most=lake.levels)
    at = block.coarse(2**lake.levels)
    before = (np.ascontiguousarray(coarse[at.around]), _cut(shore, at))
    rows, columns = lake.grid.rows, lake.grid.columns
    number = survey.wet[block]
    for level in range(lake.levels - 1, -1, -1):
        scale = scales[level]
        label, _ = _reach(scale, near)
        low, high = limits_of(
            survey.areas[level].reach_of(number),
            lake.known.line_depth_m,
            contoured=len(lake.known.lines) > lake.known.shores,
        )
        kept = block.coarse(2**level).rim(-(-rows // 2**level), -(-columns // 2**level), _RIM)
        u = relax(scale, (label, low, high), before, tension=lake.tension, kept=kept)
        before = (u, scale.shore)
        if level:
            scales.pop()
    label, _ = _pools(scales[0])
    empty = scales[0].shore.water & ~np.isfinite(survey.pools.reach_of(number)[0])[label]
    return scales[0], finish(u, scales[0].shore, empty, grid, near.lines[: near.shores])


def _shorten(lake: _Lake, wet: list[Block], away: NDArray[np.float32]) -> None:
    """Let ways to data lead from block to block, until none gets shorter."""
    around = [
        Block(
            block.core,
            (
                max(block.core[0] - 1, 0),
                min(block.core[1] + 1, lake.grid.rows),
                max(block.core[2] - 1, 0),
                min(block.core[3] + 1, lake.grid.columns),
            ),
        )
        for block in wet
    ]
    waiting = set(range(len(around)))
    while waiting:
        block = around[waiting.pop()]
        grid = block.grid_of(lake.grid)
        near = lake.by_block.within(grid)
        window = away[block.around].copy()
        spread(grid, window, shore_on(grid, near.lines[: near.shores]).bars)
        found = window[block.inner]
        shorter = found < away[block.whole]
        if not shorter.any():
            continue
        away[block.whole] = found
        edge = shorter.copy()
        edge[1:-1, 1:-1] = False
        if edge.any():
            top, bottom, left, right = block.window
            for k, other in enumerate(around):
                a, b, c, d = other.core
                if other is not block and a < bottom and b > top and c < right and d > left:
                    waiting.add(k)


def _median_of(counts: NDArray[np.int64]) -> np.float32:
    """Middle slope, from counts by the leading bits of their floats."""
    total = int(counts.sum())
    if not total:
        return np.float32(0.0)
    middle = int(np.searchsorted(np.cumsum(counts), (total + 1) // 2))
    bits = np.array([(middle << _SLOPE_BITS) + (1 << (_SLOPE_BITS - 1))], dtype=np.int32)
    return np.float32(bits.view(np.float32)[0])


def depth_and_error(
    grid: Grid,
    known: Measured,
    *,
    tension: float | None = None,
    interval_m: float | None,
    least_m: float = 0.0,
    sideways_m: float = 0.0,
    shoals: NDArray[np.float64] | None = None,
    learnt: bool = False,
    side: int = SIDE,
    coarse_cells: int = COARSE_CELLS,
    progress: Callable[[float], None] | None = None,
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Depths by minimum curvature and how far each may be off, in blocks.

    Parameters
    ----------
    grid, known, tension, progress
        As for `minimum_curvature`.
    interval_m, least_m, sideways_m, shoals
        As for `surface_error_m`.
    learnt
        Whether errors are learnt from the data, as `surface_error_m` does, or what is usual, as `local_error_m`.
    side
        Cells a side of a block, at least 64; rounded up to what the coarse grid asks for.
    coarse_cells
        Cells of the coarse grid at most.

    Returns
    -------
    Depths and errors.

    Notes
    -----
    The whole lake is made on coarse cells, two, four or eight times as wide, then each block on finer ones down to the
    finest, in a window that reaches beyond the block; the rim of the window keeps what the coarse grid gives it.
    Limits of depth hold for whole areas between contours, waters without data are found for whole waters, and ways to
    data lead from block to block. Memory: 8 bytes a cell for the two results, the coarse grid, and one window.

    What makes the result differ from one piece: the rims, by what the test of blocks states; a middle slope counted to
    one part in 4096.
    """
    levels = _levels(grid, coarse_cells)
    times = 2**levels
    halo = HALO * times // 2
    side = -(-max(side, 64) // times) * times
    blocks = blocks_of(grid, side, -(-halo // times) * times)
    lake = _Lake(
        grid,
        known,
        KnownByBlock(known),
        blocks,
        levels,
        usual_tension(known) if tension is None else tension,
    )

    def work(share: float) -> None:
        if progress is not None:
            progress(share)

    survey = _survey(lake, lambda: work(0.25 / len(blocks)))
    coarse, shore = _coarse(lake, survey)
    work(0.1)
    depth = np.full((grid.rows, grid.columns), np.nan, dtype=np.float32)
    error = np.full((grid.rows, grid.columns), np.nan, dtype=np.float32)
    counts = np.zeros(1 << (31 - _SLOPE_BITS), dtype=np.int64)
    for block in survey.wet:
        scale, made = _fine(lake, survey, block, coarse, shore)
        depth[block.whole] = made[block.inner]
        away = distance_to(scale.grid, scale.shore.water, scale.shore.bars, sources_of(scale))
        error[block.whole] = away[block.inner]
        slope = steepness(made, scale.grid)[block.inner]
        slope = slope[(scale.shore.water & np.isfinite(made))[block.inner]]
        counts += np.bincount(slope.view(np.int32) >> _SLOPE_BITS, minlength=len(counts))
        work(0.5 / len(survey.wet))
    del coarse, shore
    _shorten(lake, list(survey.wet), error)
    middle = _median_of(counts)
    band = Band(None, 1.0, OwnError(np.empty(0), np.empty(0)), 0.0, least_m, interval_m, middle)
    if learnt:
        band = learn_band(
            grid, known, depth, error,
            middle_slope=middle, interval_m=interval_m, least_m=least_m, sideways_m=sideways_m, tension=tension,
        )  # fmt: skip
    gaps = band.gaps(grid, depth, error)
    for block in survey.wet:
        top, bottom, left, right = block.core
        window = (
            max(top - _AROUND, 0),
            min(bottom + _AROUND, grid.rows),
            max(left - _AROUND, 0),
            min(right + _AROUND, grid.columns),
        )
        near = Block(block.core, window)
        slope = steepness(depth[near.around], grid)[near.inner]
        bend = bending(depth[near.around], grid)[near.inner] if learnt else slope
        there = None if gaps is None else gaps[block.whole]
        error[block.whole] = band.at(grid, depth[block.whole], error[block.whole], there, slope, bend)
    reach_shoals(grid, error, shoals)
    if survey.wet:
        np.minimum(error, np.fmax.reduce(depth, axis=None, initial=np.float32(0.0)), out=error)
    work(0.15)
    return depth, error
