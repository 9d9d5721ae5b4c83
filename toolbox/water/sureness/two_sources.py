"""Contours and soundings that contradict each other: joined by their errors; where, by how much, which was believed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import geopandas as gpd
import numpy as np
import shapely
from scipy.spatial import cKDTree

from ...units import in_words
from ..bottom.barriers import grid_of
from ..bottom.surface import grid_over, minimum_curvature, scale_of
from ..bottom.survey import USUAL_ERROR_M
from .band import surface_error_m
from .confidence import distance_to, reach_shoals, sources_of, steepness
from .error_law import own_error, upper_quantile
from .held_out import HeldOut, between_centres, held_out

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from ...depth import DepthSurface
    from ..bottom.barriers import Grid
    from ..bottom.measured import Measured

    Floats = NDArray[np.float64]
    Floats32 = NDArray[np.float32]

_POINTS: Final = 30_000  # along contours and shore
_NEIGHBOURS: Final = 96
_FEW_NEIGHBOURS: Final = 12  # tell most places
_AT_ONCE: Final = 20_000
COLUMNS: Final = ("difference_m", "charted_m", "sounded_m", "depth_m", "believed", "source", "surveyed")


def _between(xy: Floats, points: Floats, tree: cKDTree, count: int) -> Floats:
    """Depth and slope between the nearest point and the nearest of another depth; the slope NaN where none is."""
    if not len(xy):
        return np.empty((0, 2))
    found, near = tree.query(xy, k=np.arange(1, min(count, len(points)) + 1))
    away = np.asarray(found, dtype=np.float64)
    depth = points[near, 2]
    other = depth != depth[:, :1]
    second = np.where(other, away, np.inf).argmin(axis=1)
    rows = np.arange(len(xy))
    far = np.maximum(away[:, 0] + away[rows, second], 1e-9)
    fall = (depth[rows, second] - depth[:, 0]) / far
    told = np.column_stack([depth[:, 0] + away[:, 0] * fall, np.abs(fall)])
    told[~other.any(axis=1)] = np.nan
    told[~other.any(axis=1), 0] = depth[~other.any(axis=1), 0]
    return told


def charted(known: Measured, xy: Floats) -> tuple[Floats, Floats]:
    """Depths between the line nearest to each place and the nearest of another depth, and the slope between these.

    Where no other depth is near, the depth is that of the nearest line, and the slope 0.
    """
    spacing = max(float(shapely.length(known.lines).sum()) / _POINTS, 1.0)
    points = known.along_lines(spacing, shore=True)
    tree = cKDTree(points[:, :2])
    parts = [np.empty((0, 2))]
    for some in np.array_split(xy, -(-len(xy) // _AT_ONCE) or 1):
        told_here = _between(some, points, tree, _FEW_NEIGHBOURS)
        lone = np.flatnonzero(np.isnan(told_here[:, 1]))  # all near are of one depth: look farther
        told_here[lone] = _between(some[lone], points, tree, _NEIGHBOURS)
        parts.append(np.nan_to_num(told_here))
    told = np.vstack(parts)
    return told[:, 0], told[:, 1]


@dataclass(frozen=True, eq=False)
class Apart:
    """Soundings that differ from a chart by more than both may be off: rows, what the chart says, and its name."""

    rows: NDArray[np.int64]
    charted_m: Floats
    chart: str


def apart_from_contours(given: Measured, *, interval_m: float, stated_m: float, sideways_m: float) -> Apart:
    """Find the soundings that differ from the contours round them.

    Parameters
    ----------
    given
        All that was measured, with what was left out of the surface.
    interval_m
        Usual step between contours, which is as far as two neighbours leave the depth between them open.
    stated_m, sideways_m
        Errors (95 %) of depth and of position that the sources state; the latter counts where the chart is steep.
    """
    chart, slope = charted(given, given.xy)
    allowed = np.sqrt(interval_m**2 + stated_m**2 + (sideways_m * slope) ** 2)
    rows = np.flatnonzero(np.abs(chart - given.depth_m) > allowed)
    return Apart(rows, chart[rows], "contours")


def apart_from_areas(
    given: Measured, areas: gpd.GeoDataFrame, *, stated_m: float, sideways_m: float
) -> Apart:
    """Find the soundings that lie beyond both limits of the depth area they lie in.

    Parameters
    ----------
    given, stated_m, sideways_m
        As for `apart_from_contours`; so near to the edge of its area a sounding may lie in the next one.
    areas
        Depth areas, from_m and to_m.
    """
    shapes = np.asarray(areas.geometry.to_numpy(), dtype=object)
    least, most = areas["from_m"].to_numpy(dtype=float), areas["to_m"].to_numpy(dtype=float)
    row, area = shapely.STRtree(shapes).query(shapely.points(given.xy), predicate="within")
    sounded, allowed = given.depth_m[row], float(np.hypot(USUAL_ERROR_M, stated_m))
    limit = np.where(sounded < least[area] - allowed, least[area], np.nan)
    limit = np.where(sounded > most[area] + allowed, most[area], limit)
    hit = np.flatnonzero(np.isfinite(limit))
    if sideways_m:
        off = shapely.distance(shapely.points(given.xy[row[hit]]), shapely.boundary(shapes[area[hit]]))
        hit = hit[off > sideways_m]
    # Where areas overlap, the one that is farther off.
    order = hit[np.argsort(-np.abs(limit[hit] - sounded[hit]), kind="stable")]
    rows, first = np.unique(row[order], return_index=True)
    return Apart(np.asarray(rows, dtype=np.int64), limit[order][first], "depth areas")


def apart_from_raster(given: Measured, raster: DepthSurface, error_m: Floats32, *, stated_m: float) -> Apart:
    """Find the soundings that differ from a raster by more than its band and their error, the usual one at least."""
    found = np.asarray(raster.at(given.xy[:, 0], given.xy[:, 1]), dtype=np.float64)
    half = np.asarray(raster.with_depth(error_m).at(given.xy[:, 0], given.xy[:, 1]), dtype=np.float64)
    allowed = np.sqrt(half**2 + USUAL_ERROR_M**2 + stated_m**2)
    rows = np.flatnonzero(np.abs(found - given.depth_m) > allowed)
    return Apart(rows, found[rows], "raster")


def contradictions_of(
    given: Measured, soundings: gpd.GeoDataFrame | None, made: DepthSurface, *aparts: Apart
) -> gpd.GeoDataFrame:
    """List the soundings that differ from a chart by more than both may be off.

    Parameters
    ----------
    given
        All that was measured, with what was left out of the surface.
    soundings
        Its soundings, row by row; None for none.
    made
        The surface.
    aparts
        Soundings apart from each chart; each is listed once, for the first that holds it.

    Returns
    -------
    A row for each: ``difference_m`` is charted minus sounded depth, above 0 where the chart promises more water;
    ``depth_m`` what the surface says there; ``believed`` the source that it follows.
    """
    rows = np.concatenate([np.empty(0, dtype=np.int64), *(one.rows for one in aparts)])
    chart = np.concatenate([np.empty(0), *(one.charted_m for one in aparts)])
    name = np.concatenate(
        [np.empty(0, dtype=object), *(np.full(len(a.rows), a.chart, object) for a in aparts)]
    )
    rows, first = np.unique(rows, return_index=True)
    chart, name = chart[first], name[first]
    xy, sounded = given.xy[rows], given.depth_m[rows]
    surface = np.asarray(made.at(xy[:, 0], xy[:, 1]), dtype=np.float64) if len(rows) else np.empty(0)
    nearer = np.abs(surface - sounded) < np.abs(surface - chart)
    believed = np.where(np.isfinite(surface), np.where(nearer, "soundings", name), "")
    columns: dict[str, object] = {
        "difference_m": chart - sounded,
        "charted_m": chart,
        "sounded_m": sounded,
        "depth_m": surface,
        "believed": believed.astype(object),
    }
    for column in ("source", "surveyed"):
        there = soundings is not None and column in soundings
        columns[column] = (
            soundings[column].to_numpy(dtype=object)[rows]
            if soundings is not None and there
            else np.full(len(rows), "", dtype=object)
        )
    return gpd.GeoDataFrame(columns, geometry=shapely.points(xy), crs=made.crs)


def judged_by_soundings(
    given: Measured, raster: DepthSurface, error_m: Floats32, *, stated_m: float
) -> tuple[Floats32, Apart, str]:
    """Hold soundings against a raster, and widen its band by what they show.

    Returns
    -------
    Half-widths, wide enough to hold 95 % of the soundings and up to each that reads less water than the raster's own
    band allows; the soundings that contradict that band; and what to tell people.
    """
    apart = apart_from_raster(given, raster, error_m, stated_m=stated_m)
    x, y = given.xy.T
    off = np.asarray(raster.at(x, y), dtype=np.float64) - given.depth_m
    half = np.asarray(raster.with_depth(error_m).at(x, y), dtype=np.float64)
    told = np.isfinite(off) & np.isfinite(half)
    times = 1.0
    if told.sum() >= _FEW:
        # What soundings themselves get wrong is no error of the raster.
        over = np.sign(off) * np.maximum(np.abs(off) - USUAL_ERROR_M, 0.0) / np.maximum(half, 1e-6)
        times = max(1.0, upper_quantile(np.abs(over[told]), 0.95), upper_quantile(over[told], 0.975))
    error = np.asarray(error_m * np.float32(times), dtype=np.float32)
    sounded = given.depth_m[apart.rows]
    less = apart.charted_m > sounded
    shoals = np.column_stack([given.xy[apart.rows], sounded, apart.charted_m])[less]
    reach_shoals(grid_of(raster), error, shoals)
    error[~np.isfinite(raster.depth_m)] = np.nan
    text = f"{int(told.sum()):,} soundings were held against the raster: "
    if not told.any():
        return error, apart, f"{text}none lies where it has a depth."
    text += f"they differ by {in_words(float(np.median(np.abs(off[told]))), 'length')} (median)"
    if len(apart.rows):
        text += (
            f", and {len(apart.rows):,} by more than both may be off; the raster was believed, and its band reaches up "
            "to those that read less water"
        )
    if times > 1.0:
        text += f". To hold 95 % of them its band was made {times:.1f} times as wide"
    return error, apart, f"{text}."


_ASKED: Final = 2_000  # soundings that are held against the contours
_FEW: Final = 12
_SHARE: Final = 0.9
_SHIFTS_M: Final = np.arange(-200.0, 201.0, 25.0)
_SHIFTED: Final = 400
_SHIFT_CELLS: Final = 40_000
_LEAST_GAIN: Final = 0.01
_PARTS: Final = 3  # of what was left out, each of which has to speak for the contours


@dataclass(frozen=True, eq=False)
class Fit:
    """How contours and soundings fit each other.

    ``off_m`` is charted minus sounded depth at the places ``xy``; ``contradict`` whether a tenth of them or more differ
    by more than the contour interval. ``shift_m`` is the shift of the contours (east, north) under which they fit best,
    and ``gain`` the share of the middle difference that it takes away.
    """

    xy: Floats
    off_m: Floats
    contradict: bool
    shift_m: tuple[float, float] = (0.0, 0.0)
    gain: float = 0.0


def _best_shift(known: Measured, xy: Floats, depth_m: Floats) -> tuple[tuple[float, float], float]:
    """Shift of the contours (east, north) with the least middle difference, and the share it takes away."""
    west, south, east, north = shapely.total_bounds(known.lines)
    cell = float(np.sqrt((east - west) * (north - south) / _SHIFT_CELLS)) + 1.0
    grid = grid_over((west, south, east, north), cell, cell)
    chart = minimum_curvature(grid, without_soundings(known))
    right, up = (part.ravel() for part in np.meshgrid(_SHIFTS_M, _SHIFTS_M))
    middle = np.full(len(right), np.inf)
    for k in range(len(right)):
        # Contours moved by a shift show at a place what they showed at the place less the shift.
        moved = xy - (right[k], up[k])
        inside = (moved > (west, south)).all(axis=1) & (moved < (east, north)).all(axis=1)
        off = np.abs(_at(grid, chart, moved[inside]) - depth_m[inside])
        told = off[np.isfinite(off)]
        if len(told) > _SHARE * len(xy):
            middle[k] = np.median(told)
    still = float(middle[(right == 0) & (up == 0)][0])
    best = int(np.argmin(middle))
    if not np.isfinite(still) or still <= 0:
        return (0.0, 0.0), 0.0
    return (float(right[best]), float(up[best])), float(1.0 - middle[best] / still)


def fit_of(known: Measured, interval_m: float) -> Fit | None:
    """Hold soundings against contours; None where there are too few of either."""
    if len(known.xy) < _FEW or len(known.lines) == known.shores:
        return None
    rng = np.random.default_rng(len(known.xy))
    rows = rng.permutation(len(known.xy))[:_ASKED]
    off = charted(known, known.xy[rows])[0] - known.depth_m[rows]
    told = np.isfinite(off)
    size = np.abs(off[told])
    contradict = bool(np.quantile(size, _SHARE) > interval_m)
    shift, gain = (0.0, 0.0), 0.0
    if contradict:
        few = rng.permutation(np.flatnonzero(told))[:_SHIFTED]
        shift, gain = _best_shift(known, known.xy[rows][few], known.depth_m[rows][few])
        if gain < _LEAST_GAIN:
            shift, gain = (0.0, 0.0), 0.0
    return Fit(known.xy[rows][told], off[told], contradict, shift, gain)


def told_of(fit: Fit, *, mended: bool) -> str:
    """Tell people how contours and soundings contradict each other, and what a shift would gain."""
    size = np.abs(fit.off_m)
    middle, most = (in_words(float(np.quantile(size, share)), "length") for share in (0.5, _SHARE))
    text = (
        f"contours and soundings contradict each other by more than their errors: by {middle} (median), and a tenth of "
        f"the soundings by more than {most}. The soundings were believed, and the contours counted by what they get "
        "wrong there."
    )
    if not fit.gain:
        return f"{text} No shift of the contours mends it."
    far = float(np.hypot(*fit.shift_m))
    shift = f"{in_words(far, 'length')} to {np.degrees(np.arctan2(*fit.shift_m)) % 360:.0f} degrees"
    if mended:
        return f"{text} The contours were moved by {shift}, which takes away {fit.gain:.0%} of that."
    return (
        f"{text} The shift of the contours that fits best, {shift}, would take away {fit.gain:.0%} of that; "
        "--mend-shift applies it."
    )


def without_contours(known: Measured) -> Measured:
    """Keep shoreline and soundings."""
    return known.without(np.arange(known.shores, len(known.lines)), np.empty(0, dtype=np.int64))


def without_soundings(known: Measured) -> Measured:
    """Keep shoreline and contours."""
    return known.without(np.empty(0, dtype=np.int64), np.arange(len(known.xy)))


def shifted_contours(known: Measured, shift_m: tuple[float, float]) -> Measured:
    """Move the contours, not the shoreline."""
    lines = known.lines.copy()
    lines[known.shores :] = shapely.transform(lines[known.shores :], lambda xy: xy + np.asarray(shift_m))
    return replace(known, lines=lines)


def _at(grid: Grid, layer: Floats32, xy: Floats) -> Floats:
    column, row = grid.places(xy).T
    return between_centres(layer, row, column)


@dataclass(frozen=True, eq=False)
class Joined:
    """A surface of two sources: depth, half-width (95 %), and what the contours alone give."""

    depth_m: Floats32
    error_m: Floats32
    charted_m: Floats32
    charted_error_m: Floats32


def joined(
    grid: Grid,
    known: Measured,
    *,
    interval_m: float,
    least_m: float = 0.0,
    sideways_m: float = 0.0,
    tension: float | None = None,
    progress: Callable[[float], None] | None = None,
) -> Joined:
    """Make a surface of the soundings and one of the contours, and weigh them by what each gets wrong.

    Notes
    -----
    What the soundings get wrong is seen where some are left out, what the contours get wrong at the soundings. The
    weight that fits those left out best is the contours' where the soundings are as far as that; nearer they count
    less, as the square of the way to the nearest sounding. So no sounding gives way to a chart beside it. Their errors
    are weighed alike and added: both miss the same holes and humps, so that they do not make up for each other.
    """
    sounded, lined = without_contours(known), without_soundings(known)

    def work(first: float, share: float) -> Callable[[float], None]:
        return lambda done: None if progress is None else progress(first + share * done)

    depth = minimum_curvature(grid, sounded, tension=tension, progress=work(0.0, 0.5))
    error = surface_error_m(
        grid, sounded, depth, interval_m=None, least_m=least_m, sideways_m=sideways_m, tension=tension
    )
    chart = minimum_curvature(grid, lined, tension=tension, progress=work(0.5, 0.5))
    off = _at(grid, chart, known.xy) - known.depth_m
    slope = steepness(chart, grid)
    steep = _at(grid, slope, known.xy)
    told = np.isfinite(off) & np.isfinite(steep)
    usual = upper_quantile(np.abs(off[told]), 0.95)
    wrong = own_error(off[told], steep[told])
    chart_error = wrong.at(slope) if len(wrong.steep) else np.full(chart.shape, np.float32(usual))
    chart_error = np.where(np.isfinite(chart), np.maximum(chart_error, np.float32(interval_m / 2.0)), np.nan)
    scale = scale_of(grid, sounded)
    away = distance_to(grid, scale.shore.water, scale.shore.bars, sources_of(scale))
    found = held_out(grid, sounded, away, tension=tension)
    found = found.only(~found.ashore)
    share = _chart_share(grid, chart, away, found)
    mixed = np.where(np.isfinite(depth) & np.isfinite(chart), share, np.float32(0.0))
    result = depth + mixed * np.nan_to_num(chart - depth, nan=0.0)
    both = (1.0 - mixed) * error + mixed * np.nan_to_num(chart_error, nan=0.0)
    empty = ~np.isfinite(depth) & np.isfinite(chart)  # water without a sounding
    result[empty], both[empty] = chart[empty], chart_error[empty]
    return Joined(
        result.astype(np.float32), both.astype(np.float32), chart, np.asarray(chart_error, dtype=np.float32)
    )


def _chart_share(grid: Grid, chart: Floats32, away_m: Floats32, found: HeldOut) -> Floats32:
    """Share of the chart in each depth: the least that one of a few parts of what was left out speaks for.

    Half of the best weight still brings three quarters of what that brings; twice the best weight brings nothing.
    """
    if len(found) < _FEW:
        return np.zeros(chart.shape, dtype=np.float32)
    charted_off = _at(grid, chart, found.xy) - found.depth_m
    told = np.isfinite(charted_off)
    between, off, part = charted_off[told] - found.off_m[told], found.off_m[told], found.place[told] % _PARTS
    least = 0.95
    for k in range(_PARTS):
        rows = part == k
        both, own = float(-(between[rows] @ off[rows])), float(between[rows] @ between[rows])
        least = min(least, max(both / max(own, 1e-9), 0.0))
    ratio = least / (1.0 - least)
    way = np.nan_to_num(away_m, nan=0.0, posinf=1e6) / np.float32(
        max(float(np.median(found.features[:, 0])), 1e-6)
    )
    times = np.float32(ratio) * way**2
    return np.asarray(times / (1.0 + times), dtype=np.float32)
