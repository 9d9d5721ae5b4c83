"""Which lines and points come too near to areas they must keep out of, by plain geometry.

Part of the last check. It shares nothing with the search for ways: no mesh, no shrunk water, no simplification, only
distances and overlaps of the geometry as given.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

Geometries = NDArray[np.object_]
Floats = NDArray[np.float64]

TOLERANCE_M = 1e-6
"""Rounding of coordinates of some thousand kilometres, with room; nothing else is forgiven."""


@dataclass(frozen=True)
class Breach:
    """A line or point that comes too near to an area.

    Attributes
    ----------
    item, area
        Rows of the line or point and of the area; -1 for the edge of the water.
    inside_m
        Length that lies inside the area; 0 for a point and for a line that stays outside.
    gap_m
        Distance to the area; 0 where it is entered.
    x, y
        Where it is worst.
    """

    item: int
    area: int
    inside_m: float
    gap_m: float
    x: float
    y: float


def areas_of(
    frame: Any, column: str | None = None, words: tuple[str, ...] = ()
) -> tuple[Geometries, list[str]]:
    """Pick the geometries of a layer, all or those with some word in a column, and their row labels."""
    if frame is None or not len(frame):
        return np.empty(0, dtype=object), []
    rows = frame if column is None else frame[frame[column].isin(words)]
    geometry = shapely.make_valid(rows.geometry.to_numpy())
    there = ~(shapely.is_missing(geometry) | shapely.is_empty(geometry))
    return np.asarray(geometry[there], dtype=object), [str(label) for label in rows.index[there]]


def _at(geometries: Geometries) -> Floats:
    return np.asarray(shapely.get_coordinates(shapely.point_on_surface(geometries)).reshape(-1, 2))


def too_near(items: Geometries, areas: Geometries, keep_m: float) -> list[Breach]:
    """Find items inside areas, or nearer to them than they may be.

    Parameters
    ----------
    items
        Lines or points.
    areas
        Geometries to keep out of; their edge may be touched when ``keep_m`` is 0.
    keep_m
        Distance to keep.

    Returns
    -------
    list of Breach
        One for each pair that breaks the rule.
    """
    if not len(items) or not len(areas):
        return []
    tree = shapely.STRtree(areas)
    item, area = tree.query(items, predicate="dwithin", distance=keep_m)
    lines, others = items[item], areas[area]
    gap = shapely.distance(lines, others)
    shared = shapely.intersection(lines, others)
    inside = shapely.length(shared)
    # A point has no length: it is inside when it is, and not on the edge.
    point = shapely.get_dimensions(lines) == 0
    entered = np.where(point, shapely.contains_properly(others, lines), inside > TOLERANCE_M)
    bad = np.flatnonzero(entered | (gap < keep_m - TOLERANCE_M))
    if not len(bad):
        return []
    nearest = shapely.get_point(shapely.shortest_line(lines[bad], others[bad]), 0)
    place = _at(np.where(inside[bad] > 0, shared[bad], nearest))
    return [
        Breach(int(item[k]), int(area[k]), float(inside[k]), float(gap[k]), float(x), float(y))
        for k, (x, y) in zip(bad, place, strict=True)
    ]


def off_water(items: Geometries, water: Any, keep_m: float) -> list[Breach]:
    """Find items that leave a water or come nearer to its edge than they may.

    Parameters
    ----------
    items
        Lines or points.
    water
        Polygon or MultiPolygon; holes are land.
    keep_m
        Distance to keep from the edge.

    Returns
    -------
    list of Breach
        At most one each; ``inside_m`` is the length outside the water.
    """
    if not len(items):
        return []
    shapely.prepare(water)
    beyond = np.flatnonzero(~shapely.covers(water, items))
    outside = shapely.difference(items[beyond], water)
    # Points and the ends of lines may differ from the edge by rounding.
    out = (shapely.length(outside) > TOLERANCE_M) | (shapely.distance(items[beyond], water) > TOLERANCE_M)
    point = shapely.get_dimensions(items[beyond]) == 0
    out &= ~point | (shapely.distance(items[beyond], water) > TOLERANCE_M)
    found = [
        Breach(int(item), -1, float(length), 0.0, float(x), float(y))
        for item, length, (x, y) in zip(
            beyond[out], shapely.length(outside[out]), _at(outside[out]), strict=True
        )
    ]
    if keep_m <= 0.0:
        return found
    rings = shapely.get_rings(shapely.get_parts(water))
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    along = np.flatnonzero(ring[1:] == ring[:-1])
    edges = np.asarray(shapely.linestrings(np.stack([xy[along], xy[along + 1]], axis=1)), dtype=object)
    item, edge = shapely.STRtree(edges).query(items, predicate="dwithin", distance=keep_m)
    gap = shapely.distance(items[item], edges[edge])
    done = {breach.item for breach in found}
    for k in np.lexsort((gap, item)):
        number = int(item[k])
        if number in done or gap[k] >= keep_m - TOLERANCE_M:
            continue
        done.add(number)
        x, y = shapely.get_coordinates(shapely.shortest_line(items[number], edges[edge[k]]))[0]
        found.append(Breach(number, -1, 0.0, float(gap[k]), float(x), float(y)))
    return found
