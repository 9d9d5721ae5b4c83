"""Which bank a finding belongs to."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from ...units import compass_point

if TYPE_CHECKING:
    from ...arrays import Floats, Geometries


_ALONG_M = 2.0


def nearest_banks(shapes: Geometries, deep_bearing_deg: Floats, water: Any) -> tuple[Geometries, Floats]:
    """Name the bank nearest to each shape, and tell how far off it is.

    Parameters
    ----------
    shapes
        Geometries.
    deep_bearing_deg
        Bearing of each to deep water, NaN where it has none.
    water
        Today's water, Polygon or MultiPolygon, its holes islands; or None.

    Returns
    -------
    names, distance_m
        ``N bank`` where the nearest shore lies to the north; ``island, N side`` where it is an island's and the
        shape lies north of it. Empty text and NaN where there is no water.
    """
    count = len(shapes)
    names, distance = np.full(count, "", dtype=object), np.full(count, np.nan)
    if water is None:
        return names, distance
    polygons = shapely.get_parts(water)
    rings = shapely.get_rings(polygons)
    if not count or not len(rings):
        return names, distance
    outer = np.zeros(len(rings), dtype=bool)
    outer[np.cumsum([0, *(shapely.get_num_interior_rings(polygons[:-1]) + 1)])] = True
    (at, ring), found = shapely.STRtree(rings).query_nearest(shapes, return_distance=True, all_matches=False)
    distance[at] = found
    link = shapely.get_coordinates(shapely.shortest_line(shapes[at], rings[ring])).reshape(-1, 2, 2)
    east, north = (link[:, 1] - link[:, 0]).T
    toward = np.degrees(np.arctan2(east, north)) % 360.0
    # What lies along the edge itself has land where its deep side is not.
    along = (found < _ALONG_M) & np.isfinite(deep_bearing_deg[at])
    bearing = np.where(along, (deep_bearing_deg[at] + 180.0) % 360.0, toward)
    for row, own, where in zip(at.tolist(), outer[ring].tolist(), bearing.tolist(), strict=True):
        names[row] = (
            f"{compass_point(where)} bank"
            if own
            else f"island, {compass_point((where + 180.0) % 360.0)} side"
        )
    return names, distance
