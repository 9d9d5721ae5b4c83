"""What a lake's own data give where some of them are left out, in windows spread over it, beside what was measured."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from scipy.spatial import cKDTree

from ..bottom.barriers import Grid
from ..bottom.measured import KnownByBlock
from ..bottom.surface import minimum_curvature
from .confidence import features_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ..bottom.measured import Measured

    Floats = NDArray[np.float64]

_CORE: Final = 96  # cells a side of a window within which data are left out
_HALO: Final = 24
_LEAST_CELLS: Final = 100_000
_SHARE: Final = 0.08  # of the cells of the whole lake, that windows together may have
_APART: Final = 2.2  # radii between what is left out
_REACHES: Final = (
    (0.8, 1.6),
    (2.0, 3.5),
)  # radius of what is left out by turns, in ways to data that the lake has
_A_PLACE: Final = 3  # depths told of one that is left out
_LEVELS: Final = 4  # of contours, from which on every second one is left out
_LEVELS_TWICE: Final = 7  # from which on three of four are left out as well
_A_WINDOW: Final = 1500  # depths told of a window of which levels are left out
_BLOCK: Final = 6  # cells a side within which these count as one place
_INLAND: Final = 20  # depths left out nearer to data than to the shore, from which on those alone count
_WANTED: Final = 400  # places
_WANTED_ASHORE: Final = 80  # of them beside the shore, where there are lines to leave out
_MOST_CELLS: Final = 500_000  # of all windows of a small lake, where it takes so many to have those places
_MOST_ROUNDS: Final = 8  # over the same windows, with other discs
_CELLS_A_WAY: Final = 3.0  # of a window, to the way to data that is usual


@dataclass(frozen=True, eq=False)
class HeldOut:
    """What was left out: how far the surface is off there, and the features of `features_of` at the place.

    ``off_m`` is surface minus measured, above 0 where the surface is too deep; ``xy`` and ``depth_m`` what was
    measured. ``place`` numbers the discs. ``worse`` is the logarithm of how much larger the error gets where of the
    lines that were kept every second one is left out as well; NaN where that was not tried. ``ashore`` marks places
    between the shore and the nearest line, or beside the shore.
    """

    off_m: Floats
    features: Floats
    place: NDArray[np.int64]
    xy: Floats
    depth_m: Floats
    worse: Floats
    ashore: NDArray[np.bool_]

    def __len__(self) -> int:
        """Count the depths left out."""
        return len(self.off_m)

    def only(self, rows: NDArray[np.bool_]) -> HeldOut:
        """Take some of them."""
        return HeldOut(*(getattr(self, name)[rows] for name in HeldOut.__dataclass_fields__))


@dataclass(frozen=True, eq=False)
class Window:
    """A grid over the lake or a part of it, and whether it is the whole."""

    grid: Grid
    whole: bool

    @property
    def box(self) -> tuple[float, float, float, float]:
        """West, south, east and north of where data are left out."""
        grid, cell = self.grid, self.grid.cell_x_m
        margin = 0.0 if self.whole else _HALO * cell
        west, east = grid.west_m + margin, grid.west_m + grid.columns * cell - margin
        north, south = grid.north_m - margin, grid.north_m - grid.rows * cell + margin
        return west, south, east, north


def windows_of(
    grid: Grid, cell: float, wet: Floats, rng: np.random.Generator, *, least: int = 2
) -> list[Window]:
    """Windows with cells of that size, at least so many if not the whole lake is one."""
    times_x, times_y = cell / grid.cell_x_m, cell / grid.cell_y_m
    rows, columns = int(np.ceil(grid.rows / times_y)) + 2, int(np.ceil(grid.columns / times_x)) + 2
    most = max(_LEAST_CELLS, _SHARE * grid.rows * grid.columns)
    if rows * columns <= most:
        west, north = grid.west_m - cell, grid.north_m + cell
        return [Window(Grid(rows, columns, west, north, cell, cell), whole=True)]
    side = _CORE + 2 * _HALO
    count = max(least, int(most / side**2))
    found, centres = [], wet[rng.permutation(len(wet))]
    taken = np.empty((0, 2))
    for x, y in centres[:400]:  # windows that do not share their cores
        if len(taken) and (np.abs(taken - (x, y)).max(axis=1) < _CORE * cell).any():
            continue
        taken = np.vstack([taken, (x, y)])
        # On the lattice of the whole grid, so that cells get wrong what they get wrong there.
        west = grid.west_m + np.rint((x - side / 2 * cell - grid.west_m) / cell) * cell
        north = grid.north_m - np.rint((grid.north_m - y - side / 2 * cell) / cell) * cell
        found.append(Window(Grid(side, side, float(west), float(north), cell, cell), whole=False))
        if len(found) == count:
            break
    return found


def nearest_of(tree: cKDTree, xy: Floats, most: int = 1) -> tuple[Floats, NDArray[np.int64]]:
    """Ways to the nearest of a tree, and which these are: a column for each of so many."""
    way, which = tree.query(xy, k=np.arange(1, most + 1))
    return np.asarray(way, dtype=np.float64), np.asarray(which, dtype=np.int64)


def _data_points(known: Measured, spacing_m: float) -> Floats:
    """Rows of x, y, depth along contours and of soundings."""
    return known.points(spacing_m, shore=False)[:, :3]


def discs_of(
    points: Floats,
    ways: Floats,
    window: tuple[float, float, float, float],
    rng: np.random.Generator,
    reach: tuple[float, float],
) -> tuple[Floats, Floats]:
    """Places round which data are left out, well apart, and how far round each."""
    west, south, east, north = window
    inner = (points[:, 0] > west) & (points[:, 0] < east) & (points[:, 1] > south) & (points[:, 1] < north)
    centre = points[inner, :2]
    centre = centre[rng.permutation(len(centre))[:4000]]
    radius = rng.choice(ways, len(centre)) * rng.uniform(*reach, len(centre))
    if not len(centre):
        return centre, radius
    tree = cKDTree(centre)
    longest = float(radius.max())
    free = np.ones(len(centre), dtype=np.bool_)
    kept = []
    for k in range(len(centre)):  # each rules out those after it that are too near
        if free[k]:
            kept.append(k)
            near = np.array(tree.query_ball_point(centre[k], _APART * longest), dtype=np.int64)
            apart = np.hypot(*(centre[near] - centre[k]).T)
            free[near[apart < _APART * np.maximum(radius[near], radius[k])]] = False
    return centre[kept], radius[kept]


def left_of(known: Measured, centre: Floats, radius: Floats) -> Measured:
    """Keep what is known outside of all discs."""
    discs = shapely.buffer(shapely.points(centre), radius, quad_segs=6)
    hole = shapely.disjoint_subset_union_all(discs)  # most lie apart
    shores = np.arange(known.shores)
    whole = np.arange(known.shores, len(known.lines))
    cut = shapely.difference(known.lines[whole], hole)
    parts, owner = shapely.get_parts(cut, return_index=True)
    long = shapely.length(parts) > 0
    parts, owner = parts[long], owner[long]
    row = np.concatenate([shores, whole[owner]])
    tree = cKDTree(centre)
    out = np.zeros(len(known.xy), dtype=np.bool_)
    if len(known.xy):
        away, nearest = nearest_of(tree, known.xy, min(4, len(centre)))
        out = np.asarray((away <= radius[nearest]).any(axis=1), dtype=np.bool_)
    return replace(
        known,
        lines=np.concatenate([known.lines[: known.shores], parts]),
        line_depth_m=known.line_depth_m[row],
        line_row=known.line_row[row],
        line_trust=known.line_trust[row],
        xy=known.xy[~out],
        depth_m=known.depth_m[~out],
        trust=known.trust[~out],
    )


def _levels_out(
    known: Measured, box: tuple[float, float, float, float], cell: float, rng: np.random.Generator, first: int
) -> tuple[Measured, Floats, NDArray[np.int64], Measured | None] | None:
    """Leave out every second level of the contours from the first or second on; None where there are too few.

    A hole in a line would leave its ends, which tell more than a place between two lines is told. Where there are
    enough, of those kept every second one is left out as well, and what is left then comes last.
    """
    levels = np.unique(known.line_depth_m[known.shores :])
    if len(levels) < _LEVELS:
        return None
    gone, far = _lines_at(known, levels[first::2]), None
    if len(levels) >= _LEVELS_TWICE:
        more = _lines_at(known, levels[1 - first :: 2][int(rng.integers(2)) :: 2])
        far = known.without(np.concatenate([gone, more]), np.empty(0, dtype=np.int64))
    dense = shapely.segmentize(known.lines[gone], cell)
    xy, line = shapely.get_coordinates(dense, return_index=True)
    west, south, east, north = box
    inner = (xy[:, 0] > west) & (xy[:, 0] < east) & (xy[:, 1] > south) & (xy[:, 1] < north)
    xy, line = xy[inner], line[inner]
    pick = rng.permutation(len(xy))[:_A_WINDOW]
    xy, line = xy[pick], line[pick]
    block = np.floor((xy - (west, south)) / (_BLOCK * cell)).astype(np.int64)
    _, place = np.unique(block[:, 0] * 1_000_003 + block[:, 1], return_inverse=True)
    left = known.without(gone, np.empty(0, dtype=np.int64))
    points = np.column_stack([xy, known.line_depth_m[gone][line]])
    return left, points, np.asarray(place.ravel(), dtype=np.int64), far


def _lines_at(known: Measured, levels: Floats) -> NDArray[np.int64]:
    rows = np.flatnonzero(np.isin(known.line_depth_m, levels))
    return np.asarray(rows[rows >= known.shores], dtype=np.int64)


def _discs_out(
    known: Measured,
    points: Floats,
    ways: Floats,
    box: tuple[float, float, float, float],
    rng: np.random.Generator,
    reach: tuple[float, float],
) -> tuple[Measured, Floats, NDArray[np.int64], None] | None:
    """Leave out all data in discs."""
    centre, radius = discs_of(points, ways, box, rng, reach)
    if not len(centre):
        return None
    left = left_of(known, centre, radius)
    ways_in, discs_in = nearest_of(cKDTree(centre), points[:, :2])
    away, disc = ways_in[:, 0], discs_in[:, 0]
    out = away < radius[disc]
    points, disc = points[out], disc[out]
    # Those near the middle first: at the ends of a line that was cut its own depth tells too much.
    order = np.argsort(np.floor(3.0 * away[out] / radius[disc]) + rng.random(len(points)))
    points, disc = points[order], disc[order]
    rank = np.zeros(len(disc), dtype=np.int64)  # the how many-th of its disc
    by = np.argsort(disc, kind="stable")
    starts = np.flatnonzero(np.r_[True, np.diff(disc[by]) > 0])
    rank[by] = np.arange(len(by)) - np.repeat(starts, np.diff(np.r_[starts, len(by)]))
    few = rank < _A_PLACE
    return left, points[few], disc[few], None


def _one_window(
    window: Window,
    by_block: KnownByBlock,
    known: Measured,
    ways: Floats,
    rng: np.random.Generator,
    tension: float | None,
    reach: tuple[float, float],
    first: int,
) -> HeldOut | None:
    grid = window.grid
    near = known if window.whole else by_block.within(grid)
    if len(near.lines) == near.shores and not len(near.xy):
        return None
    cell = grid.cell_x_m
    points = _data_points(near, cell)
    box = window.box
    chosen = _levels_out(near, box, cell, rng, first) or _discs_out(near, points, ways, box, rng, reach)
    if chosen is None:
        return None
    left, points, disc, far = chosen
    if len(left.lines) == left.shores and not len(left.xy):
        return None
    depth = minimum_curvature(grid, left, tension=tension)
    ends = left.along_lines(cell, shore=True)[:, :2]
    kept = cKDTree(np.vstack([ends, left.xy]))
    ways_out, which = nearest_of(kept, points[:, :2])
    way, nearest = ways_out[:, 0], which[:, 0]
    on_shore = len(shapely.get_coordinates(shapely.segmentize(left.lines[: left.shores], cell)))
    # Beside the shore a few cliffs would speak for all places with a short way to data: these are told apart.
    ashore = nearest < on_shore
    if far is not None:
        ashore |= points[:, 2] <= near.line_depth_m[near.shores :].min()
    if (~ashore).sum() < _INLAND:
        ashore[:] = False
    column, row = grid.places(points[:, :2]).T
    features = features_of(grid, depth, None)
    r = np.rint(row).astype(np.int64).clip(0, grid.rows - 1)
    c = np.rint(column).astype(np.int64).clip(0, grid.columns - 1)
    table = np.column_stack([way, *(layer[r, c].astype(np.float64) for layer in features)])
    found = between_centres(depth, row, column) - points[:, 2]
    known_there = np.isfinite(found) & np.isfinite(table).all(axis=1)
    worse = np.full(len(found), np.nan)
    if far is not None and known_there.any():
        farther = between_centres(minimum_curvature(grid, far, tension=tension), row, column) - points[:, 2]
        least = 0.05 * float(np.median(np.abs(found[known_there]))) + 1e-6
        worse = np.log((np.abs(farther) + least) / (np.abs(found) + least))
    parts = (found, table, disc, points[:, :2], points[:, 2], worse, ashore)
    return HeldOut(*(part[known_there] for part in parts))


def between_centres(depth: NDArray[np.float32], row: Floats, column: Floats) -> Floats:
    """Depth between centres; NaN where one of them is unknown."""
    r = np.floor(row).astype(np.int64).clip(0, depth.shape[0] - 2)
    c = np.floor(column).astype(np.int64).clip(0, depth.shape[1] - 2)
    down, right = row - r, column - c
    found: Floats = (
        depth[r, c] * (1 - down) * (1 - right)
        + depth[r, c + 1] * (1 - down) * right
        + depth[r + 1, c] * down * (1 - right)
        + depth[r + 1, c + 1] * down * right
    ).astype(np.float64)
    return found


def held_out(
    grid: Grid,
    known: Measured,
    away_m: NDArray[np.float32],
    *,
    tension: float | None = None,
    seed: int = 0,
) -> HeldOut:
    """Leave data out by discs, make the surface without them, and tell how far it is off there.

    Parameters
    ----------
    grid, known, tension
        As for `minimum_curvature`.
    away_m
        Way from each centre to the nearest datum: what is left out leaves gaps like those that the lake has.
    seed
        Of what is left out.

    Notes
    -----
    Whole discs, not single depths: depths beside each other tell each other (Roberts et al. 2017, Ecography 40,
    913-929). Large lakes are judged by windows of them.
    """
    rng = np.random.default_rng([seed, len(known.lines), len(known.xy)])
    wet = np.flatnonzero(np.isfinite(away_m.ravel()) & (away_m.ravel() >= 0))
    none = np.empty(0)
    empty = HeldOut(
        none, np.empty((0, 3)), np.empty(0, dtype=np.int64), np.empty((0, 2)), none, none, none > 0
    )
    if not len(wet):
        return empty
    wet = rng.choice(wet, min(len(wet), 20_000), replace=False)
    least = 0.5 * max(grid.cell_x_m, grid.cell_y_m)
    ways = np.maximum(away_m.ravel()[wet].astype(np.float64), least)
    row, column = np.divmod(wet, grid.columns)
    places = np.column_stack(
        [grid.west_m + (column + 0.5) * grid.cell_x_m, grid.north_m - (row + 0.5) * grid.cell_y_m]
    )
    cell = max(grid.cell_x_m, grid.cell_y_m, float(np.median(ways)) / _CELLS_A_WAY)
    by_block = KnownByBlock(known)
    parts: list[HeldOut] = []
    first = 0
    windows = windows_of(grid, cell, places, rng)
    allowed = max(_MOST_CELLS, _SHARE * grid.rows * grid.columns)
    spent = 0.0
    lined = len(np.unique(known.line_depth_m[known.shores :])) >= _LEVELS
    least_passes, ashore = 1 if lined else len(_REACHES), 0
    for k, window in enumerate(windows * _MOST_ROUNDS):
        passes = k // len(windows)
        reach = _REACHES[passes % 2]
        # After two passes every window has told about both halves of its lines.
        enough = first >= _WANTED and (not lined or ashore >= _WANTED_ASHORE or passes >= 2)
        if passes >= least_passes and (enough or spent > allowed):
            break
        spent += window.grid.rows * window.grid.columns
        one = _one_window(window, by_block, known, ways, rng, tension, reach, (k + passes) % 2)
        if one is None or not len(one):
            continue
        if np.isfinite(one.worse).any():  # it was made twice
            spent += window.grid.rows * window.grid.columns
        parts.append(replace(one, place=one.place + first))
        first += int(one.place.max()) + 1
        ashore += len(np.unique(one.place[one.ashore]))
    if not parts:
        return empty
    return HeldOut(
        *(np.concatenate([getattr(part, name) for part in parts]) for name in HeldOut.__dataclass_fields__)
    )
