"""Doubt at the door: is what is given as depth really depth, by what it is along the shoreline and inside it.

At chart datum the depth on the shoreline is 0. What is far from it all along, beyond what slope and cell can do, is an
elevation, or stands on another datum. Only what cannot be a lake is refused; steep banks, cliffs, coarse cells, a
shoreline drawn a bit off, partly known bottoms and land walled off with any number are all sound.

Numbers in a raster that are no depths: marks for 'nothing known' that nobody declared, and depths no lake has.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from ...errors import DataError
from ...report import note
from ...units import FATHOM_M, FOOT_M, in_words

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from ...arrays import Floats
    from ...depth import DepthSurface

DEEPEST_LAKE_M: Final = 1642.0
"""Lake Baikal (common knowledge of geography); nothing deeper is a lake."""
_HIGHEST_M: Final = 9000.0  # no ground on Earth stands higher
_USUAL: Final = (999.0, 9999.0, 99999.0, 999999.0, 32767.0, 32768.0, 65535.0, 65536.0)
"""Numbers in use as marks for 'nothing known', of either sign (common practice)."""
_UNITS: Final = (1.0, FOOT_M, 1200.0 / 3937.0, FATHOM_M)  # a mark is converted with the depths around it
_OFTEN: Final = 5
_ABOVE: Final = 900.0 * FOOT_M  # the least of the marks, in feet
_REMEDY: Final = (
    "Say which number stands for that: depth-surface --no-data, or the raster's own no-data value."
)


def _next_to(values: NDArray[np.float32], value: float) -> float:
    """Distance from an extreme value to the nearest other one; infinite where there is none."""
    others = values[values != np.float32(value)]
    if not others.size:
        return float("inf")
    nearest = float(others.max()) if value > 0 else float(others.min())
    return abs(value - nearest)


def _is_mark(value: float, alone_by: float) -> bool:
    """Whether a number is one of the usual marks, converted or not, with nothing near it."""
    if abs(value) > 1.0e5:
        return True
    usual = any(abs(abs(value) - mark * unit) <= 1e-4 * mark * unit for mark in _USUAL for unit in _UNITS)
    return usual and alone_by > max(30.0, 0.02 * abs(value))


def _told_by_place(values: NDArray[np.float32], value: float, alone_by: float) -> bool:
    """Whether a number is given again and again where nothing else lies, far beyond how far all others reach."""
    count = int((values == np.float32(value)).sum())
    others = values[values != np.float32(value)]
    if count < _OFTEN or not others.size:
        return False
    reach = float(others.max()) - float(others.min())
    return alone_by > 100.0 and alone_by > 3.0 * reach


def refuse_marks(surface: DepthSurface, name: str = "The raster") -> None:
    """Refuse numbers that mean 'nothing known' and were not declared to.

    Parameters
    ----------
    surface
        A raster as read, in whatever unit.
    name
        What it is called in the message.

    Raises
    ------
    DataError
        One of the usual marks lies apart from all else; or a positive number is repeated far beyond all others. Of
        numbers below 0 only the usual marks count: land may be walled with any.
    """
    values = surface.depth_m[np.isfinite(surface.depth_m)]
    if not values.size:
        return
    for value in (float(values.max()), float(values.min())):
        if abs(value) < 50.0:
            continue
        alone = _next_to(values, value)
        if (abs(value) > _ABOVE and _is_mark(value, alone)) or (
            value > 0 and _told_by_place(values, value, alone)
        ):
            count = int((values == np.float32(value)).sum())
            raise DataError(
                f"{name} holds the number {value:.7g} in {count:,} of {values.size:,} cells, where nothing else lies "
                f"near it: it looks like a mark for 'nothing known' that was not declared. {_REMEDY}"
            )


def refuse_beyond_lakes(surface: DepthSurface, name: str = "The depth coverage") -> None:
    """Refuse depths in metres that no lake has, and heights that no land has.

    Raises
    ------
    DataError
        A depth is beyond that of the deepest lake, or land is higher than any on Earth.
    """
    deepest, highest = float(np.nanmax(surface.depth_m)), float(np.nanmin(surface.depth_m))
    if deepest > DEEPEST_LAKE_M:
        count = int((surface.depth_m > np.float32(DEEPEST_LAKE_M)).sum())
        raise DataError(
            f"{name} is {in_words(deepest, 'length')} deep, and more than {DEEPEST_LAKE_M:.0f} m, the deepest of all "
            f"lakes, in {count:,} cells. It may hold elevations (depth-surface --raster-holds elevation "
            f"--chart-datum), another unit (--raster-unit), or a mark for 'nothing known' (--no-data)."
        )
    if highest < -_HIGHEST_M:
        raise DataError(
            f"{name} has land {in_words(-highest, 'length')} above chart datum, higher than any on Earth; a mark for "
            f"'nothing known' was not declared. {_REMEDY}"
        )


_SAMPLES: Final = 4000
_FEW: Final = 24  # fewer places than this along a shoreline show nothing
DATUM_M: Final = 4.0
"""So far the whole shoreline may lie from depth 0: a pool held some feet above or below normal is sound."""
_STEEPEST: Final = 1.75  # a bank of 60 degrees; steeper ones are cliffs, which no lake has all round
MENDS: Final = (
    "Where the raster holds elevations, make the coverage with depth-surface --raster-holds elevation --chart-datum "
    "(the elevation of chart datum)"
)


@dataclass(frozen=True, eq=False)
class ShoreReading:
    """What a surface holds along a shoreline and well inside it."""

    on_m: Floats  # on the shoreline itself; empty where less than half of it is known on both sides
    # how far the surface bends within a cell there: land walled off with any number bends it hard
    bend_m: float
    # in the nearest known cell inside, and how far from the shoreline its centre may lie
    beside_m: Floats
    beside_away_m: Floats
    inside_m: Floats  # at cells spread all over the inside, away from the shore
    dry: float  # share of the cells inside that lie above chart datum


def _along(lake: BaseGeometry, step_m: float) -> Floats:
    """Places along all rings, evenly spread."""
    edge = shapely.boundary(lake)
    length = float(shapely.length(edge))
    apart = max(step_m, length / _SAMPLES)
    found = [np.empty((0, 2))]
    for ring in np.asarray(shapely.get_parts(edge)):  # the walk along a ring is vectorised
        xy = shapely.get_coordinates(ring)
        gone = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
        places = np.arange(apart / 2.0, gone[-1], apart)
        if gone[-1] >= apart:
            found.append(
                np.column_stack([np.interp(places, gone, xy[:, 0]), np.interp(places, gone, xy[:, 1])])
            )
    return np.concatenate(found)


def _cells_beside(surface: DepthSurface, xy: Floats, lake: BaseGeometry) -> tuple[Floats, Floats]:
    """Nearest known cell inside the lake among the nine round each place, and how far off its centre lies."""
    rows, columns = surface.shape
    column = np.floor((xy[:, 0] - surface.west_m) / surface.cell_x_m).astype(np.intp)
    row = np.floor((surface.north_m - xy[:, 1]) / surface.cell_y_m).astype(np.intp)
    best = np.full(len(xy), np.inf)
    depth = np.full(len(xy), np.nan)
    for down in (-1, 0, 1):
        for right in (-1, 0, 1):
            r, c = row + down, column + right
            there = (r >= 0) & (r < rows) & (c >= 0) & (c < columns)
            r, c = r.clip(0, rows - 1), c.clip(0, columns - 1)
            x = surface.west_m + (c + 0.5) * surface.cell_x_m
            y = surface.north_m - (r + 0.5) * surface.cell_y_m
            value = surface.depth_m[r, c].astype(np.float64)
            there &= np.isfinite(value) & shapely.contains_xy(lake, x, y)
            away = np.where(there, np.hypot(x - xy[:, 0], y - xy[:, 1]), np.inf)
            nearer = away < best
            best = np.where(nearer, away, best)
            depth = np.where(nearer, value, depth)
    known = np.isfinite(best)
    return depth[known], best[known]


def read_shore(surface: DepthSurface, lake: BaseGeometry) -> ShoreReading:
    """Read a surface along a shoreline and inside it, at some thousands of places however large the lake."""
    shapely.prepare(lake)
    cell = max(surface.cell_x_m, surface.cell_y_m)
    xy = _along(lake, cell / 2.0)
    on = surface.at(xy[:, 0], xy[:, 1])
    known = np.isfinite(on)
    around = [
        surface.at(xy[:, 0] + right * cell, xy[:, 1] + down * cell)
        for right, down in ((1, 0), (-1, 0), (0, 1), (0, -1))
    ]
    bends = np.fmax(np.abs(around[0] + around[1] - 2 * on), np.abs(around[2] + around[3] - 2 * on))
    bends = bends[np.isfinite(bends)]
    enough = known.sum() >= _FEW and known.mean() >= 0.5 and len(bends) >= _FEW
    beside, away = _cells_beside(surface, xy, lake)
    rows, columns = surface.shape
    stride = max(1, int(np.sqrt(rows * columns / _SAMPLES)))
    x, y = np.meshgrid(surface.xs[stride // 2 :: stride], surface.ys[stride // 2 :: stride])
    values = surface.depth_m[stride // 2 :: stride, stride // 2 :: stride].astype(np.float64)
    take = np.isfinite(values) & shapely.contains_xy(lake, x, y)
    x, y, values = x[take], y[take], values[take]
    edge = shapely.boundary(lake)
    shapely.prepare(edge)
    shore = np.asarray(shapely.dwithin(shapely.points(x, y), edge, 2.0 * cell), dtype=bool)
    return ShoreReading(
        on[known] if enough else np.empty(0),
        float(np.median(bends)) if enough else 0.0,
        beside,
        away,
        values[~shore],
        float((values < 0).mean()) if len(values) else 0.0,
    )


def _level_of_shore(shore: ShoreReading) -> tuple[float, Floats]:
    """How far the whole shoreline surely lies from depth 0, beyond what banks and cells can do; 0 where it need not.

    Returns
    -------
    The offset, positive too deep, and the values it is told by.
    """
    if len(shore.on_m):
        middle = float(np.median(shore.on_m))
        low, high = np.percentile(shore.on_m, [10, 90])
        allowed = DATUM_M + shore.bend_m
        if middle > allowed and low > 0.3 * middle:
            return middle, shore.on_m
        # Land walled off with any number draws the shoreline down, but not the water's own cells.
        wet = len(shore.beside_m) < _FEW or float(np.median(shore.beside_m)) >= 0
        if middle < -allowed and high < 0.3 * middle and not wet:
            return middle, shore.on_m
        if low < 0 < high or abs(middle) <= DATUM_M:
            return 0.0, shore.on_m
    if len(shore.beside_m) >= _FEW:
        surplus = shore.beside_m - _STEEPEST * shore.beside_away_m
        if np.percentile(surplus, 5) > DATUM_M:
            return float(np.median(shore.beside_m)), shore.beside_m
    return 0.0, shore.beside_m


def _say_what_is_odd(shore: ShoreReading, name: str) -> None:
    """Warn where cells beside the shore are deep all along, which sheer banks can explain and a wrong datum too."""
    if len(shore.on_m) or len(shore.beside_m) < _FEW or float(np.ptp(shore.beside_away_m)) == 0.0:
        return
    _, start = np.polyfit(shore.beside_away_m, shore.beside_m, 1)
    low, middle = np.percentile(shore.beside_m, [5, 50])
    if start > DATUM_M and low > DATUM_M:
        note(
            f"{name} is {in_words(float(middle), 'length')} deep in the cells beside the shoreline (median), and at "
            f"least {in_words(float(low), 'length')} in nearly all: either the banks are sheer all round, or it lies "
            "on another datum than the shoreline. Check a few depths.",
            stacklevel=4,
        )


def doubt_shore(surface: DepthSurface, lake: BaseGeometry, *, name: str = "The depth coverage") -> None:
    """Refuse a surface that is no depth below chart datum inside this shoreline.

    Parameters
    ----------
    surface
        Depths below chart datum, metres.
    lake
        The water at chart datum.
    name
        What the surface is called in the messages.

    Raises
    ------
    DataError
        It holds elevations, has the wrong sign, or lies on a datum some metres off; the message tells the figures and
        what mends it.
    """
    shore = read_shore(surface, lake)
    inside = shore.inside_m
    if len(inside) >= _FEW and shore.dry > 0.5 and float(np.median(inside)) < -0.5:
        raise DataError(
            f"{name} is below 0, above chart datum, on {shore.dry:.0%} of the ground inside the shoreline (median "
            f"{in_words(float(np.median(inside)), 'length')}); depths are positive down. Turn its sign with "
            f"depth-surface --raster-holds negative-depth. {MENDS}."
        )
    offset, told = _level_of_shore(shore)
    if offset == 0.0:
        _say_what_is_odd(shore, name)
        return
    low, high = np.percentile(told, [5, 95])
    found = (
        f"{name} is {in_words(offset, 'length')} deep along the shoreline (median; from {in_words(low, 'length')} to "
        f"{in_words(high, 'length')} for nine tenths of it), where depth below chart datum is near 0"
    )
    if len(inside) >= _FEW and offset > 0 and float(np.median(inside)) < offset:
        raise DataError(
            f"{found}, and less inside (median {in_words(float(np.median(inside)), 'length')}): it holds elevations. "
            f"{MENDS}."
        )
    raise DataError(
        f"{found}: it lies on another datum than the shoreline. {MENDS}; where it holds depths below another surface, "
        "take the difference from them first, or draw the shoreline at that surface."
    )


def doubt(
    surface: DepthSurface, lake: BaseGeometry | None = None, *, name: str = "The depth coverage"
) -> None:
    """Refuse what cannot be the depth of a lake: undeclared marks, impossible depths, elevations, a wrong sign.

    Parameters
    ----------
    surface
        Depths below chart datum, metres.
    lake
        The water at chart datum, where it is known.
    name
        What the surface is called in the messages.

    Raises
    ------
    DataError
        What was found, and what mends it.
    """
    refuse_marks(surface, name)
    refuse_beyond_lakes(surface, name)
    if lake is not None and not shapely.is_empty(lake):
        doubt_shore(surface, lake, name=name)


def depth_words(surface: DepthSurface, lake: BaseGeometry | None = None) -> str:
    """Tell the least, median and greatest depth, of the water alone, in both units."""
    values = surface.depth_m[surface.depth_m > 0]
    if lake is not None:
        from ..bottom.barriers import centres_inside

        within = surface.depth_m[centres_inside(surface, lake) & np.isfinite(surface.depth_m)]
        values = within if within.size else values
    if not values.size:
        return "No water lies below chart datum."
    least, middle, most = (float(f(values)) for f in (np.min, np.median, np.max))
    return (
        f"Depth below chart datum: least {in_words(least, 'length')}, median {in_words(middle, 'length')}, greatest "
        f"{in_words(most, 'length')}."
    )
