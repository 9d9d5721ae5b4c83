"""Doubt at the door: contours and soundings held against the shoreline and against each other."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from ...errors import DataError
from ...units import in_words
from .depth_agreement import doubt_agreement, places_of
from .depth_doubt import DATUM_M
from .impossible_depths import DEEPEST_LAKE_M

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

_MOST: Final = 2000
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
    stride = max(1, len(x) // _MOST)
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
    stride = max(1, len(x) // _MOST)
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
