"""Doubt at the door: depths held against the shoreline, against each other, and against those stated elsewhere.

A ratio of 3.28 or 0.305 tells feet taken for metres or back, a minus an elevation or a sign, a constant a datum.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from ...errors import DataError
from ...report import note
from ...units import FATHOM_M, FOOT_M, in_words
from .depth_doubt import DATUM_M, DEEPEST_LAKE_M, MENDS

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

    from ...arrays import Floats
    from ...depth import DepthSurface

_MOST: Final = 20_000
_ENOUGH: Final = 8


@dataclass(frozen=True)
class Agreement:
    """How depths stated elsewhere fit a surface: number, median ratio and median offset of the surface against them."""

    count: int
    ratio: float
    offset_m: float
    spread_m: float
    stated_m: float


_UNITS: Final = {
    "metres": 1.0 / FOOT_M,
    "feet": FOOT_M,
    "fathoms": 1.0 / FATHOM_M,
}


def agreement(surface_m: Floats, stated_m: Floats) -> Agreement | None:
    """Hold depths of a surface against depths stated for the same places; None where fewer than four can be.

    Places with a depth of 1 m or less on either side, or none, do not count: there a ratio says nothing.
    """
    both = (
        np.isfinite(surface_m) & np.isfinite(stated_m) & (np.abs(surface_m) > 1.0) & (np.abs(stated_m) > 1.0)
    )
    if both.sum() < 4:
        return None
    one, other = surface_m[both], stated_m[both]
    offset = float(np.median(one - other))
    return Agreement(
        int(both.sum()),
        float(np.median(one / other)),
        offset,
        float(np.median(np.abs(one - other - offset))),
        float(np.median(other)),
    )


def doubt_agreement(
    surface_m: Floats, stated_m: Floats, *, what: str, mend: str, name: str = "The depth coverage"
) -> None:
    """Refuse depths that differ from those stated elsewhere by a unit, a sign or a datum; warn where they are odd.

    Parameters
    ----------
    surface_m
        Depths by the surface at places with a stated depth.
    stated_m
        The stated depths.
    what
        What states them: ``spots``, ``soundings``, ``contours``.
    mend
        What to do when their unit is another one.
    name
        What the surface is called.

    Raises
    ------
    DataError
        At least eight places agree on it: their scatter is a fraction of what mending it takes away.

    Warns
    -----
    DataWarning
        The median ratio or offset is odd.
    """
    found = agreement(surface_m, stated_m)
    if found is None:
        return
    told = (
        f"{name} is {found.ratio:.3g} times as deep as {found.count} {what} say (median), by "
        f"{in_words(found.offset_m, 'length')}"
    )
    if found.count >= _ENOUGH:
        both = np.isfinite(surface_m) & np.isfinite(stated_m) & (np.abs(surface_m) > 1.0)
        both &= np.abs(stated_m) > 1.0
        one, other = surface_m[both], stated_m[both]
        as_is = float(np.median(np.abs(one - other)))
        if found.ratio < 0 and float(np.mean(one * other < 0)) > 0.8:
            raise DataError(f"{told}: one of the two has the wrong sign; depths are positive down. {mend}")
        shifted = float(np.median(np.abs(one - other - found.offset_m)))
        if abs(found.offset_m) <= DATUM_M or shifted > 0.2 * abs(found.offset_m):
            shifted = float("inf")  # no constant explains it
        for unit, factor in _UNITS.items():
            mended = float(np.median(np.abs(one / factor - other)))
            near = abs(np.log(max(found.ratio, 1e-9) / factor)) < 0.15
            if near and mended < 0.25 * as_is and mended <= shifted:
                which = {"metres": "feet taken for metres", "feet": "metres taken for feet"}.get(
                    unit, "fathoms and metres mixed up"
                )
                raise DataError(f"{told}: that is {which} on one side. {mend}")
        if np.isfinite(shifted):
            raise DataError(
                f"{told}, nearly the same everywhere: one of the two stands on another datum. {MENDS}, or put "
                f"{what} on chart datum."
            )
    far = abs(found.offset_m) > 1.5 and not 0.75 < found.ratio < 1.33
    if far or abs(found.offset_m) > max(3.0, 2.0 * found.spread_m):
        note(f"{told}; look at unit, datum and age of both.", stacklevel=3)


def places_of(layer: GeoDataFrame) -> tuple[Floats, Floats, Floats]:
    """Places with a stated depth: of points themselves, of lines their corners, of areas a point within; and depths."""
    import shapely

    geometry = layer.geometry.to_numpy()
    depth = layer["depth_m"].to_numpy(dtype=float)
    use = np.isfinite(depth) & ~shapely.is_empty(geometry) & ~shapely.is_missing(geometry)
    geometry, depth = geometry[use].copy(), depth[use]
    areas = np.isin(shapely.get_type_id(geometry), (3, 6))
    geometry[areas] = shapely.point_on_surface(geometry[areas])
    xy, owner = shapely.get_coordinates(geometry, return_index=True)
    stride = max(1, len(xy) // _MOST)
    return xy[::stride, 0], xy[::stride, 1], depth[owner[::stride]]


def doubt_against(
    surface: DepthSurface,
    layer: GeoDataFrame | None,
    *,
    what: str,
    mend: str,
    name: str = "The depth coverage",
) -> None:
    """Hold a surface against the depths of a layer (column depth_m, positive down below chart datum).

    Raises
    ------
    DataError
        They differ by a unit, a sign or a datum.
    """
    if layer is None or layer.empty:
        return
    x, y, stated = places_of(layer)
    doubt_agreement(surface.at(x, y), stated, what=what, mend=mend, name=name)


_MOST_ROWS: Final = 2000
_FEW: Final = 12


def _doubt_depths(layer: GeoDataFrame, lake: BaseGeometry, name: str) -> None:
    x, y, depth = places_of(layer)
    if not depth.size:
        return
    if float(depth.max()) > DEEPEST_LAKE_M:
        count = int((layer["depth_m"].to_numpy(dtype=float) > DEEPEST_LAKE_M).sum())
        raise DataError(
            f"{name}.depth_m is up to {depth.max():.7g} m, deeper than any lake ({DEEPEST_LAKE_M:.0f} m), in {count:,} "
            "rows: a mark for 'nothing known', elevations, or another unit. Leave those rows out, or turn the column "
            "into metres below chart datum."
        )
    stride = max(1, len(x) // _MOST_ROWS)
    x, y, depth = x[::stride], y[::stride], depth[::stride]
    if len(depth) < _FEW or float(np.percentile(depth, 2)) < DATUM_M:
        return
    off = shapely.distance(shapely.points(x, y), shapely.boundary(lake))
    near = off <= np.percentile(off, 25)
    if float(np.median(depth[near])) > float(np.median(depth[~near])) and len(np.unique(depth)) > 1:
        raise DataError(
            f"{name}.depth_m is {in_words(float(np.median(depth[near])), 'length')} near the shoreline and "
            f"{in_words(float(np.median(depth[~near])), 'length')} farther out (medians), nowhere near 0: these are "
            "elevations. Take them from the elevation of chart datum; depths are positive down."
        )


def doubt_rows(lake: BaseGeometry, contours: GeoDataFrame | None, soundings: GeoDataFrame | None) -> None:
    """Refuse contours and soundings that are no depths, or that differ from each other by a unit or a datum.

    Parameters
    ----------
    lake
        The water at chart datum.
    contours, soundings
        Usable rows, depth_m positive down below chart datum; None where there are none.

    Raises
    ------
    DataError
        What was found, and what mends it.

    Notes
    -----
    A sounding is held against the contour nearest to it, for the quarter of the soundings that lie nearest to one.
    """
    for layer, name in ((contours, "contours"), (soundings, "soundings")):
        if layer is not None and len(layer):
            _doubt_depths(layer, lake, name)
    if contours is None or soundings is None or not len(contours) or not len(soundings):
        return
    x, y, depth = places_of(soundings)
    stride = max(1, len(x) // _MOST_ROWS)
    points, depth = shapely.points(x[::stride], y[::stride]), depth[::stride]
    lines, owner = shapely.get_parts(contours.geometry.to_numpy(), return_index=True)
    tree = shapely.STRtree(lines)
    (at, line), off = tree.query_nearest(points, return_distance=True, all_matches=False)
    near = off <= np.percentile(off, 25)
    charted = contours["depth_m"].to_numpy(dtype=float)[owner[line]]
    doubt_agreement(
        charted[near],
        depth[at][near],
        what="soundings",
        mend="Turn the column depth_m of the one that is wrong into metres below chart datum.",
        name="The chart's contour nearest to each",
    )
