"""Shapes that are not sound, on the safe side: self-crossing rings, rings wound twice, spikes there and back.

Part of the last check. A repair decides what a sick shape means and drops the rest; a boat keeps off all of it.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from ...arrays import Geometries, Indices


def _there(frame: Any) -> tuple[Geometries, Indices]:
    if frame is None or not len(frame):
        return np.empty(0, dtype=object), np.empty(0, dtype=np.intp)
    geometry = np.asarray(shapely.force_2d(frame.geometry.to_numpy()), dtype=object)
    return geometry, np.flatnonzero(~(shapely.is_missing(geometry) | shapely.is_empty(geometry)))


def areas_of(frame: Any) -> tuple[Geometries, Indices]:
    """Take the geometries of a layer, repaired where need be, and the rows they are of."""
    geometry, rows = _there(frame)
    return np.asarray(shapely.make_valid(geometry[rows]), dtype=object), rows


def _simple_parts(shape: Any) -> list[Any]:
    parts: list[Any] = shapely.get_parts(shape).tolist()
    if shape.geom_type == "GeometryCollection":
        return [one for part in parts for one in _simple_parts(part)]
    return parts


def _rings(shape: Any) -> list[Any]:
    """Take the rings of a shape, and its lines, as lines."""
    found: list[Any] = []
    for part in _simple_parts(shape):
        if part.geom_type == "Polygon":
            found += [shapely.linestrings(shapely.get_coordinates(one)) for one in shapely.get_rings(part)]
        elif shapely.get_dimensions(part) == 1:
            found.append(part)
    return found


def enclosed(shape: Any) -> list[Any]:
    """Take all that a shape may mean: what its rings enclose, whichever way they are wound, and the rest of their line.

    Returns
    -------
    One area, unless it is empty; lines and points that belong to no area.
    """
    rings = _rings(shape)
    faces: list[Any] = []
    for ring in rings:
        if shapely.get_num_points(ring) > 1 and float(ring.length) > 0.0:
            faces += shapely.get_parts(shapely.polygonize([shapely.node(ring)])).tolist()
    area = shapely.union_all(faces)
    lone = [part for part in _simple_parts(shape) if shapely.get_dimensions(part) == 0]
    for ring in rings:
        if float(ring.length) == 0.0:
            lone.append(shapely.get_point(ring, 0))
        else:
            rest = shapely.difference(ring, area)
            lone += [] if rest.is_empty else [rest]
    return ([] if area.is_empty else [area]) + lone


def all_it_may_mean(frame: Any) -> tuple[Geometries, Indices]:
    """Take what a layer asks to keep out of, on the safe side, and the rows it is of; a row may have several shapes."""
    geometry, rows = _there(frame)
    shapes: list[Any] = []
    owner: list[int] = []
    for row in rows.tolist():
        shape = geometry[row]
        sound = bool(shapely.is_valid(shape)) and shape.geom_type != "GeometryCollection"
        own = [shape] if sound else enclosed(shape)
        shapes += own
        owner += [row] * len(own)
    found = np.empty(len(shapes), dtype=object)
    found[:] = shapes
    return found, np.array(owner, dtype=np.intp)


def _walls(shape: Any) -> list[Any]:
    parts = _simple_parts(shapely.make_valid(shape))
    edges = shapely.union_all([shapely.boundary(part) for part in parts if part.geom_type == "Polygon"])
    inner = [shapely.difference(ring, edges) for ring in _rings(shape)]
    return [one for one in inner if not one.is_empty]


def walls_in(frame: Any) -> list[Any]:
    """Take the lines within the outline of a sick water that enclose nothing: walls that its repair would drop."""
    geometry, rows = _there(frame)
    walls: list[Any] = []
    for row in rows[~shapely.is_valid(geometry[rows])].tolist():
        walls += _walls(geometry[row])
    return walls
