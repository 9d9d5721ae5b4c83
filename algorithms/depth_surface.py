"""One depth coverage from contours, soundings and shoreline, or from a raster."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    Choice,
    Contours,
    Depth,
    Length,
    Number,
    Shoreline,
    SignedLength,
    Soundings,
)

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

    from castshed.toolbox.water.surface import Measured

Method = Annotated[str, Choice(("minimum-curvature", "triangles"))]
Holds = Annotated[str, Choice(("depth", "negative-depth", "elevation"))]
Tension = Annotated[float, Number(0.0, 0.95)]

MOST_CELLS = 60_000_000
LOOSE_ERROR_M = 0.5
"""Depth error of soundings or a raster that state none (common practice)."""


def _warn(text: str) -> None:
    import warnings

    from castshed.toolbox.errors import DataWarning

    warnings.warn(text, DataWarning, stacklevel=4)


def _usable(layer: GeoDataFrame | None, lake: BaseGeometry, name: str) -> GeoDataFrame | None:
    """Leave out rows above chart datum and rows that do not touch the lake, and say how many."""
    import numpy as np
    import shapely

    from castshed.toolbox.errors import DataError

    if layer is None or len(layer) == 0:
        return None
    depth = layer["depth_m"].to_numpy(dtype=float)
    if not (depth > 0).any() and (depth < 0).any():
        raise DataError(
            f"{name}.depth_m holds no depth above 0; depths are positive down, metres below chart datum. "
            "Turn the sign of the column, or take the elevations from that of chart datum."
        )
    shapely.prepare(lake)
    touches = shapely.intersects(lake, layer.geometry.to_numpy())
    if not touches.any():
        raise DataError(
            f"{name}: none of the {len(layer)} rows lies inside the shoreline; check that both layers are of the same "
            "lake and that their reference systems are stated rightly."
        )
    above = depth < 0
    if above.any():
        _warn(f"{name}: {int(above.sum())} rows with a depth_m below 0 (land) were left out.")
    if (~touches).any():
        _warn(f"{name}: {int((~touches).sum())} rows outside the shoreline were left out.")
    return layer[np.asarray(touches & ~above)]


def _measured(lake: BaseGeometry, contours: GeoDataFrame | None, soundings: GeoDataFrame | None) -> Measured:
    import numpy as np

    from castshed.toolbox.water.surface import Measured

    lines, line_depths = np.empty(0, dtype=object), np.empty(0)
    if contours is not None:
        lines, line_depths = contours.geometry.to_numpy(), contours["depth_m"].to_numpy(dtype=float)
    xy, depths = np.empty((0, 2)), np.empty(0)
    if soundings is not None:
        xy = np.column_stack([soundings.geometry.x, soundings.geometry.y])
        depths = soundings["depth_m"].to_numpy(dtype=float)
    return Measured.gather(lake, lines, line_depths, xy, depths)


def _interval(contours: GeoDataFrame | None) -> float | None:
    """Find the usual step between contours; the first step is from the shore."""
    import numpy as np

    if contours is None or len(contours) == 0:
        return None
    depths = np.unique(np.concatenate([[0.0], contours["depth_m"].to_numpy(dtype=float)]))
    return float(np.median(np.diff(depths))) if len(depths) > 1 else None


def _few_enough(bounds: tuple[float, float, float, float], cell_m: float) -> None:
    from castshed.toolbox.errors import UsageError

    west, south, east, north = bounds
    cells = (east - west) / cell_m * ((north - south) / cell_m)
    if cells > MOST_CELLS:
        least = ((east - west) * (north - south) / MOST_CELLS) ** 0.5
        raise UsageError(
            f"Cells of {cell_m:g} m would be {cells / 1e6:.0f} million; at most {MOST_CELLS // 1_000_000} million are "
            f"made. Give cells of {least:.1f} m or more, or a smaller lake."
        )


def _from_raster(
    raster: Depth, lake: BaseGeometry, holds: str, datum_m: float, cell_m: float | None
) -> Depth:
    import numpy as np

    from castshed.toolbox.errors import DataError
    from castshed.toolbox.water.raster_depth import depth_from, resampled, with_shore
    from castshed.toolbox.water.shore import centres_inside
    from castshed.toolbox.water.surface import grid_over

    surface = depth_from(raster, holds, datum_m)
    if cell_m is not None:
        _few_enough(surface.bounds, cell_m)
        grid = grid_over(surface.bounds, cell_m, cell_m)
        surface = resampled(surface, grid)
    inside = centres_inside(surface, lake) & np.isfinite(surface.depth_m)
    if not inside.any():
        raise DataError(
            "The raster holds no value inside the shoreline; check that both are of the same lake, and that the "
            "cells are not wider than the lake."
        )
    dry = float((surface.depth_m[inside] < 0).mean())
    if dry > 0.5:
        raise DataError(
            f"By the raster {dry:.0%} of the ground inside the shoreline lies above chart datum. Say what it holds "
            "with --raster-holds depth, negative-depth or elevation, and for elevation give that of chart datum "
            "with --datum."
        )
    if dry > 0.05:
        _warn(
            f"By the raster {dry:.0%} of the ground inside the shoreline lies above chart datum; it counts as land."
        )
    surface, missing = with_shore(surface, lake)
    if missing:
        _warn(f"{missing} cells inside the shoreline have no depth in the raster; they stay unknown.")
    return surface


@algorithm(
    step="water",
    example="castshed depth-surface demo_layers/reservoir.gpkg:shoreline "
    "--contours demo_layers/reservoir.gpkg:contours "
    "--soundings demo_layers/reservoir.gpkg:soundings --cell 10m --out my.gpkg:depth",
)
def depth_surface(
    shoreline: Shoreline,
    *,
    contours: Contours | None = None,
    soundings: Soundings | None = None,
    raster: Depth | None = None,
    raster_holds: Holds = "depth",
    datum_m: SignedLength = 0.0,
    cell_m: Length | None = None,
    method: Method = "minimum-curvature",
    tension: Tension | None = None,
    depth_error_m: Length | None = None,
) -> Depth:
    """Make the depth coverage of a lake from contours and soundings, or from a raster.

    Contours and soundings are joined by a surface that bends as little as possible (minimum curvature with
    tension), or by triangles between them. Land is a barrier: depths do not leak across a spit or an island. Between
    two contours the surface stays between their depths. The coverage knows no land but for a rim of one cell that
    brings the depth to 0 at the shoreline.

    A raster is taken as it is, sign and datum put right, on its own cells or on new ones; what it knows of the land is
    kept.

    Parameters
    ----------
    shoreline
        Water's edge at chart datum, islands as holes.
    contours
        Lines of equal depth, depth_m positive down below chart datum.
    soundings
        Points of known depth, depth_m positive down below chart datum.
    raster
        A raster instead of contours and soundings.
    raster_holds
        What the raster holds, in metres: depth (positive down, below chart datum), negative-depth, or elevation.
    datum_m
        Elevation of chart datum on the raster's vertical datum, when it holds elevations.
    cell_m
        Size of a cell; by default 5 m, or the raster's own cells.
    method
        minimum-curvature, or triangles (Delaunay; flat at tops and in hollows).
    tension
        Of minimum curvature: 0 bends least and may swing between far data, near 1 is a stretched skin. By default
        0.3 where there are contours, else 0.1.
    depth_error_m
        Half-width within which the true depth lies (95 %), kept with the coverage and used by hazards. By default
        half the contour interval; without contours that of the raster, or 0.5 m.

    Returns
    -------
    DepthSurface
        depth, in metres below chart datum.

    Raises
    ------
    UsageError
        Neither contours, soundings nor raster, or a raster beside the others, or too many cells.
    DataError
        The data do not lie in the lake, or have the wrong sign.

    Notes
    -----
    Minimum curvature with tension: Smith and Wessel 1990, Geophysics 55, 293-305. Half the contour interval is the
    rule of the US National Map Accuracy Standards of 1947 for nine tenths of tested points (from memory); the error
    of the contours themselves comes on top of it.

    What makes the result wrong: humps and hollows between two contours that no line shows, contours that end or bear a
    wrong depth, soundings far apart, a shoreline drawn at another level than chart datum.
    """
    import shapely

    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.report import progress
    from castshed.toolbox.water.depth import DepthSurface
    from castshed.toolbox.water.surface import METHODS, grid_over

    lake = shapely.union_all(shoreline.geometry.to_numpy())
    if raster is not None and (contours is not None or soundings is not None):
        raise UsageError("A raster was given beside contours or soundings; give one or the other.")
    if cell_m is not None and cell_m <= 0:
        raise UsageError(f"cell is {cell_m:g} m; a cell needs a size above 0, such as 5m.")
    if raster is not None:
        made = _from_raster(raster, lake, raster_holds, datum_m, cell_m)
        return made if depth_error_m is None else made.with_depth(made.depth_m, error_m=depth_error_m)

    lines = _usable(contours, lake, "contours")
    points = _usable(soundings, lake, "soundings")
    if lines is None and points is None:
        raise UsageError(
            "No depths were given; give --contours, --soundings or both, or a --raster, with at least one row."
        )
    cell = 5.0 if cell_m is None else cell_m
    _few_enough(lake.bounds, cell)
    grid = grid_over(lake.bounds, cell, cell)
    interval = _interval(lines)
    error = depth_error_m
    if error is None:
        error = LOOSE_ERROR_M if interval is None else interval / 2.0
    with progress("Making the depth surface") as step:
        depth = METHODS[method](grid, _measured(lake, lines, points), tension=tension, progress=step)
    return DepthSurface(depth, grid.west_m, grid.north_m, cell, cell, shoreline.crs, error)
