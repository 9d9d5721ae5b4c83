"""The lines between depth areas, as contours."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from ...errors import DataError

if TYPE_CHECKING:
    from numpy.typing import NDArray

_TOUCH_M: Final = 0.01


def contours_between(
    areas: NDArray[np.object_], from_m: NDArray[np.float64], to_m: NDArray[np.float64]
) -> tuple[NDArray[np.object_], NDArray[np.float64]]:
    """Draw the lines along which depth areas meet.

    Parameters
    ----------
    areas
        Polygons.
    from_m, to_m
        Least and greatest depth of each; the greatest may be NaN where it is not known.

    Returns
    -------
    Lines, and the depth of each: that up to which one side reaches and from which the other begins.

    Raises
    ------
    DataError
        An area whose greatest depth is less than its least.

    Notes
    -----
    An outer edge with nothing beyond is not drawn: it may be the shore or the end of the survey. Where areas meet
    that have a gap between their depths (0 to 5 m beside 10 to 20 m) the line bears both depths.
    """
    wrong = np.flatnonzero(to_m < from_m)
    if len(wrong):
        raise DataError(
            f"depth_areas reach from {from_m[wrong[0]]:g} to {to_m[wrong[0]]:g} m in row {wrong[0]}; give the least "
            "depth in from_m and the greatest in to_m, positive down."
        )
    lines: list[NDArray[np.object_]] = []
    depths: list[float] = []
    for depth in np.unique(np.concatenate([from_m, to_m[np.isfinite(to_m)]])):
        deeper = shapely.union_all(areas[from_m >= depth])
        shoaler = shapely.union_all(areas[to_m <= depth])
        if depth <= 0 or shapely.is_empty(deeper) or shapely.is_empty(shoaler):
            continue
        shared = shapely.intersection(shapely.boundary(deeper), shapely.buffer(shoaler, _TOUCH_M))
        parts = shapely.get_parts(shapely.line_merge(_lines_of(shared)))
        parts = parts[shapely.length(parts) > 2.0 * _TOUCH_M]
        lines.append(parts)
        depths += [float(depth)] * len(parts)
    found = np.concatenate(lines) if lines else np.empty(0, dtype=object)
    return found, np.array(depths, dtype=np.float64)


def _lines_of(geometry: shapely.Geometry) -> shapely.MultiLineString:
    parts = shapely.get_parts(geometry)
    return shapely.MultiLineString(list(parts[shapely.get_type_id(parts) == shapely.GeometryType.LINESTRING]))
