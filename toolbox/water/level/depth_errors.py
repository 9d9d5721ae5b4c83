"""How far the depths that a layer tells may be off, kept beside them so that whoever is handed the layer knows.

A place keeps ``depth_error_m``. A way keeps ``min_depth_error_m``: its least depth less that is the least that may be
counted on anywhere along it, so the error is not always that of its thinnest place.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import geopandas as gpd

    from ...arrays import Floats, Geometries
    from ...depth import DepthSurface

OF_PLACE: Final = "depth_error_m"
OF_WAY: Final = "min_depth_error_m"
_SAMPLES_A_CELL: Final = 2


def _local(local: DepthSurface, depth: DepthSurface | None, xy: Floats) -> Floats:
    """Half-widths at places; where none is known the depth coverage's own, if there is one."""
    found = local.at(xy[:, 0], xy[:, 1])
    return found if depth is None else np.where(np.isnan(found), depth.error_m, found)


def errors_at(points: Geometries, local: DepthSurface, depth: DepthSurface | None = None) -> Floats:
    """Tell how far the depth may be off at points (half-width, 95 %); NaN where that is not known."""
    xy = np.full((len(points), 2), np.nan)
    there = ~(shapely.is_missing(points) | shapely.is_empty(points))
    xy[there] = shapely.get_coordinates(shapely.point_on_surface(points[there]))
    found = np.full(len(points), np.nan)
    found[there] = _local(local, depth, xy[there])
    return found


def errors_along(lines: Geometries, local: DepthSurface, depth: DepthSurface | None = None) -> Floats:
    """Tell by how much less than the least depth of each line may be counted on along it.

    Without a depth surface that is the greatest error on the line. NaN where some of the depth is not known.
    """
    grids = [local] if depth is None else [local, depth]
    step = min(min(one.cell_x_m, one.cell_y_m) for one in grids) / _SAMPLES_A_CELL
    found = np.full(len(lines), np.nan)
    there = np.flatnonzero(~(shapely.is_missing(lines) | shapely.is_empty(lines)))
    if not len(there):
        return found
    xy, row = shapely.get_coordinates(shapely.segmentize(lines[there], step), return_index=True)
    error = _local(local, depth, xy)
    charted = np.zeros(len(xy)) if depth is None else depth.at(xy[:, 0], xy[:, 1])
    least, sure = np.full(len(there), np.inf), np.full(len(there), np.inf)
    with np.errstate(invalid="ignore"):  # NaN prevails
        np.minimum.at(least, row, charted)
        np.minimum.at(sure, row, charted - error)
    found[there] = least - sure
    return found


def with_errors(frame: gpd.GeoDataFrame, local: DepthSurface | None, depth: DepthSurface | None) -> Any:
    """Give holds and legs the error of the depth they tell; what a row has already, and other layers, stay."""
    if local is None or not len(frame) or frame.crs is None:
        return frame
    columns = set(frame.columns)
    of: Callable[..., Floats]
    if {"hold_no", "depth_today_m"} <= columns:
        column, of, told = OF_PLACE, errors_at, "depth_today_m"
    elif "min_depth_m" in columns:
        column, of, told = OF_WAY, errors_along, "min_depth_m"
    else:
        return frame
    own = of(np.asarray(frame.geometry.to_crs(local.crs).to_numpy(), dtype=object), local, depth)
    own = np.where(np.isnan(frame[told].to_numpy(dtype=float, na_value=np.nan)), np.nan, own)
    if column in columns:
        had = frame[column].to_numpy(dtype=float, na_value=np.nan)
        own = np.where(np.isnan(had), own, had)
    return frame.assign(**{column: own})


def all_with_errors(
    layers: Mapping[str, gpd.GeoDataFrame], local: DepthSurface | None, depth: DepthSurface | None = None
) -> dict[str, Any]:
    """Give the holds and legs among layers the errors of their depths."""
    return {name: with_errors(frame, local, depth) for name, frame in layers.items()}
