"""What hills, people and time added to the valley: knolls, an old road with its bridge, the dam."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy import ndimage
from scipy.spatial import cKDTree

from castshed.demo_layers.channels import resample, turning
from castshed.demo_layers.sheet import Sheet, smooth_step

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from castshed.demo_layers.channels import Stream
    from castshed.demo_layers.relief import Floats
    from castshed.demo_layers.sheet import Grid


class Knoll(NamedTuple):
    """A hill on the valley floor; drowned, or an island."""

    x_m: float
    y_m: float
    top_m: float  # height of the top
    long_m: float  # half-length
    short_m: float  # half-width


class Road(NamedTuple):
    """An old road bank over the valley floor."""

    line: Floats  # (k, 2)
    piers: Floats  # (n, 2) of the bridge over the old river
    pier_top_m: Floats  # (n,) height of what stands


def find_dam(
    height: Grid, sheet: Sheet, river: Stream, x_range: tuple[float, float], crest_m: float
) -> Floats:
    """Choose the crossing of the river's gap that needs the shortest dam.

    Returns
    -------
    The two ends of the crest; an empty (0, 2) array where the land has no gap to close.
    """
    line = resample(river.valley, 40.0)
    normal, _ = turning(line)
    best, best_span = np.zeros((0, 2)), np.inf
    reach = np.arange(0.0, 1500.0, 10.0)
    for k in np.flatnonzero((line[:, 0] > x_range[0]) & (line[:, 0] < x_range[1])):
        for turn in np.deg2rad([-30.0, -15.0, 0.0, 15.0, 30.0]):
            c, s = np.cos(turn), np.sin(turn)
            across = np.array([c * normal[k, 0] - s * normal[k, 1], s * normal[k, 0] + c * normal[k, 1]])
            ways = [line[k] + sign * reach[:, None] * across for sign in (1.0, -1.0)]
            over = [np.flatnonzero(sheet.read(height, way) > crest_m) for way in ways]
            if len(over[0]) and len(over[1]):
                ends = np.array([way[hit[0]] for way, hit in zip(ways, over, strict=True)])
                span = float(np.hypot(*(ends[0] - ends[1])))
                if span < best_span:
                    best, best_span = ends, span
    return best


def build_bank(
    height: Grid, line: Floats, sheet: Sheet, top_m: Floats | float, half_top_m: float, slope: float
) -> None:
    """Heap an earth bank along a line, in place."""
    dense = resample(line, sheet.cell_m)
    tops = (
        np.broadcast_to(np.asarray(top_m, dtype=np.float64), (len(dense),)) if np.ndim(top_m) == 0 else top_m
    )
    cells, xy = sheet.near(
        line, half_top_m + 40.0 / slope if np.ndim(top_m) == 0 else half_top_m + 6.0 / slope
    )
    away, nearest = cKDTree(dense).query(xy)
    bank = np.asarray(tops)[nearest] - slope * np.maximum(0.0, away - half_top_m)
    height[cells] = np.maximum(height[cells], bank)


def raise_knolls(
    rng: np.random.Generator,
    height: Grid,
    sheet: Sheet,
    lake: NDArray[np.bool_],
    pool_m: float,
    *,
    islands: int,
    humps: int,
) -> list[Knoll]:
    """Raise hills on the broad parts of the valley, in place.

    Returns
    -------
    The knolls, islands first.
    """
    step = 6  # look every 30 m
    small = np.asarray(height[::step, ::step], dtype=np.float64)
    wet = lake[::step, ::step]
    off_m = ndimage.distance_transform_edt(wet) * sheet.cell_m * step
    rough = np.hypot(*np.gradient(ndimage.gaussian_filter(small, 2.0), sheet.cell_m * step))
    depth = pool_m - small
    knolls: list[Knoll] = []
    for k in range(islands + humps):
        island = k < islands
        least, most = (2.5, 8.0) if island else (4.5, 14.0)
        room = (
            wet & (off_m > (150.0 if island else 130.0)) & (depth > least) & (depth < most) & (rough < 0.03)
        )
        row, col = np.nonzero(room)
        xy = np.column_stack([col, row]) * sheet.cell_m * step + sheet.cell_m / 2
        for other in knolls:
            free = np.hypot(*(xy - [other.x_m, other.y_m]).T) > 650.0
            xy, row, col = xy[free], row[free], col[free]
        if len(xy) == 0:
            continue
        pick = int(rng.integers(len(xy)))
        ground = small[row[pick], col[pick]]
        top = (
            pool_m + rng.uniform(1.2, 3.2) if island else pool_m - rng.uniform(1.4, 0.62 * (pool_m - ground))
        )
        long = float(rng.uniform(70.0, 135.0) if island else rng.uniform(38.0, 95.0))
        short = long * float(rng.uniform(0.45, 0.85))
        x, y = xy[pick]
        _raise_knoll(rng, height, sheet, np.array([x, y]), top - ground, long, short)
        knolls.append(Knoll(float(x), float(y), float(top), long, short))
    return knolls


def _raise_knoll(
    rng: np.random.Generator,
    height: Grid,
    sheet: Sheet,
    at: Floats,
    rise_m: float,
    long_m: float,
    short_m: float,
) -> None:
    cells, xy = sheet.near(np.vstack([at, at + 0.1]), 2.6 * long_m)
    turn = rng.uniform(0.0, np.pi)
    away = xy - at
    u = (away[:, 0] * np.cos(turn) + away[:, 1] * np.sin(turn)) / long_m
    v = (-away[:, 0] * np.sin(turn) + away[:, 1] * np.cos(turn)) / short_m
    angle = np.arctan2(v, u)
    waves = np.arange(2, 8)
    phase, size = rng.uniform(0.0, 2 * np.pi, waves.size), rng.normal(0.0, 0.22, waves.size) / waves**0.7
    outline = 1.0 + np.sum(size * np.cos(waves * angle[:, None] + phase), axis=1)
    ring = np.hypot(u, v) / np.maximum(outline, 0.4)
    height[cells] += (rise_m * np.exp(-0.9 * ring ** float(rng.uniform(1.7, 2.8)))).astype(np.float32)


def lay_road(
    rng: np.random.Generator,
    height: Grid,
    sheet: Sheet,
    river: Stream,
    pool_m: float,
    x_range: tuple[float, float],
) -> Road:
    """Lay an old road on a low bank across the valley, in place, with a gap where its bridge was.

    Returns
    -------
    The road, and the bridge piers left standing.
    """
    course = river.course
    normal, bend = turning(course)
    straight = np.abs(ndimage.gaussian_filter1d(bend, 15.0))
    fits = (course[:, 0] > x_range[0]) & (course[:, 0] < x_range[1])
    k = int(np.argmin(np.where(fits, straight, np.inf)))
    at, across = course[k], normal[k]
    reach = np.arange(0.0, 1800.0, sheet.cell_m)
    arms = []
    for sign in (1.0, -1.0):
        sway = np.cumsum(np.cumsum(rng.normal(0.0, 0.0022, reach.size)))
        sway = ndimage.gaussian_filter1d(sway, 12.0)
        sway -= sway[0]
        along = np.array([-across[1], across[0]])
        way = at + sign * reach[:, None] * across + sway[:, None] * along
        dry = np.flatnonzero(sheet.read(height, way) > pool_m + 1.0)
        arms.append(way[: dry[0]] if len(dry) else way[:200])
    line = resample(np.vstack([arms[1][::-1], arms[0][1:]]), sheet.cell_m)
    ground = ndimage.gaussian_filter1d(sheet.read(height, line), 12.0)
    off = np.hypot(*(line - at).T)
    gap = smooth_step((off - 0.5 * river.width_m - 6.0) / 8.0)
    rise = (1.7 + 0.25 * ndimage.gaussian_filter1d(rng.standard_normal(len(line)), 8.0) * 4.0) * gap
    build_bank(height, line, sheet, ground + rise - 4.0 * (1.0 - gap), 3.5, 0.5)
    offsets = np.array([-0.42, -0.14, 0.14, 0.42]) * river.width_m
    piers = at + offsets[:, None] * across
    tops = ground.min() + river.deep_m + rng.uniform(1.5, 4.5, 4)
    return Road(line, piers, np.minimum(tops, pool_m - 1.0))
