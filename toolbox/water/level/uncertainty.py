"""How far depths may be off, kept beside them, and how much water a boat needs when they are.

A place keeps ``depth_error_m``. A way keeps ``min_depth_error_m``: its least depth less that is the least that may be
counted on anywhere along it, so the error is not always that of its thinnest place.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import geopandas as gpd
    from numpy.typing import NDArray

    from ...arrays import Floats, Geometries
    from ...depth import DepthSurface

S44_ORDERS: Final[dict[str, tuple[float, float]]] = {
    "exclusive": (0.15, 0.0075),
    "special": (0.25, 0.0075),
    "order-1": (0.5, 0.013),
    "order-2": (1.0, 0.023),
}
"""Fixed part (m) and part that grows with depth, of the greatest vertical uncertainty (95 %) by order of survey.

IHO S-44, edition 6 (the coefficients at second hand; those of the exclusive order and order 2 from memory).
"""


def s44_error_m(order: str, depth_m: float) -> float:
    """Greatest vertical uncertainty (95 %) that a survey of an order may have at a depth, in metres.

    Parameters
    ----------
    order
        A key of `S44_ORDERS`.
    depth_m
        Depth, positive down; a negative one counts as 0.

    Raises
    ------
    UsageError
        The order is not known.

    Notes
    -----
    sqrt(a**2 + (b d)**2), IHO S-44. The order states what a survey was held to. A map drawn from its contours is
    coarser than the survey, and silt, ice and dredging change a bottom afterwards.
    """
    if order not in S44_ORDERS:
        raise UsageError(f"The order of survey is '{order}'; choose one of: {', '.join(S44_ORDERS)}.")
    fixed, growing = S44_ORDERS[order]
    return math.hypot(fixed, growing * max(depth_m, 0.0))


def error_of(depth: DepthSurface | None) -> float:
    """Take the error a coverage states of itself; 0 where there is none."""
    return 0.0 if depth is None else depth.error_m


def least_error(depth: DepthSurface, local: DepthSurface | None) -> float:
    """Error to count everywhere: the coverage's own, or the least of its local errors where those are known.

    Where the local error is more, `doubted` counts it.
    """
    if local is None:
        return depth.error_m
    least = np.fmin.reduce(local.depth_m, axis=None)
    return float(min(depth.error_m, least)) if np.isfinite(least) else depth.error_m


def combined_error_m(*errors_m: float) -> float:
    """Combine errors that have nothing to do with each other: the root of the sum of their squares."""
    return math.sqrt(math.fsum(error * error for error in errors_m))


def needed_depth_m(boat_m: float, margin_m: float, *errors_m: float) -> float:
    """Depth that a chart must show for a boat to pass: what the boat needs, the margin, and the errors.

    Parameters
    ----------
    boat_m
        Water the boat itself needs: its draft at idle, or what it needs to run.
    margin_m
        Water wanted under that.
    errors_m
        Errors (95 %) of depth, level and whatever else; combined, they are added and never taken off.
    """
    return boat_m + margin_m + combined_error_m(*errors_m)


def surely_today(
    depth: DepthSurface | None, level_m: float, local: DepthSurface | None, error_m: float | None = None
) -> DepthSurface | None:
    """Give today's depths, lowered where they are less sure than the error counted anyway; None for no depths.

    That error is the one given, else the one the coverage states.
    """
    if depth is None:
        return None
    today = depth.shifted(level_m)
    counted = error_of(depth) if error_m is None else error_m
    return today if local is None else doubted(today, local, counted)


def doubted(surface: DepthSurface, local: DepthSurface, error_m: float) -> DepthSurface:
    """Lower a depth surface wherever it may be farther off than the error that is allowed for anyway.

    Parameters
    ----------
    surface
        Depths.
    local
        Half-width (95 %) within which the true depth lies at each place; where it knows none, the surface's own error
        stands for it.
    error_m
        The error that is counted everywhere.

    Notes
    -----
    Combined with other errors, one that is greater by x makes the whole greater by x at most; so lowering by x and
    combining as before is on the safe side. No place is ever made deeper.
    """
    error: NDArray[np.floating]
    if local.shape == surface.shape and np.allclose(local.bounds, surface.bounds):
        error = local.depth_m
    else:
        x, y = np.meshgrid(surface.xs, surface.ys)
        error = local.at(x, y)
    error = np.where(np.isnan(error), np.float32(surface.error_m), error)
    lowered = surface.depth_m.copy()
    for row, of_row in enumerate(error):  # a row at a time: few cells are lowered, and grids are large
        less_sure = np.flatnonzero(of_row > np.float64(error_m))
        more = of_row[less_sure].astype(np.float64) - error_m
        lowered[row, less_sure] = lowered[row, less_sure] - more
    return surface.with_depth(lowered)


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
