"""Areas drawn crossed, wound twice or with spikes, taken on the safe side: what a ring encloses either way counts.

What must be kept out of grows in repair and never shrinks; water shrinks and never grows. A line that bounds nothing,
such as a wall drawn there and back, stays as a hair.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .arrays import Floats

HAIR_M: Final = 0.01
"""Half the width of a line that bounds no area."""

_POLYGON: Final = 3


def polygons_in(geometry: Any) -> list[Any]:
    """List the polygons of any geometry, however deep its collections."""
    parts = np.atleast_1d(np.asarray(geometry, dtype=object))
    parts = parts[~shapely.is_missing(parts)]
    while np.any(shapely.get_type_id(parts) > _POLYGON):
        parts = shapely.get_parts(parts)
    return list(parts[(shapely.get_type_id(parts) == _POLYGON) & ~shapely.is_empty(parts)])


def moved(geometry: Any, by: Floats) -> Any:
    """Shift geometries; to and from a near origin no digits are lost that the far coordinates have."""
    return shapely.transform(geometry, lambda xy: xy + by)


def origin_of(geometry: Any) -> Floats:
    """Whole metres near the middle of geometries."""
    box = shapely.total_bounds(geometry)
    middle = (box[:2] + box[2:]) / 2.0
    return np.round(middle) if np.isfinite(middle).all() else np.zeros(2)


def _faces(ring: Any) -> Any:
    """All that a ring parts from the outside, whichever way and however often it is wound."""
    line: Any = shapely.linestrings(shapely.get_coordinates(ring))
    noded = shapely.node(line)
    return shapely.union_all(shapely.get_parts(shapely.polygonize([noded])))


def is_valid(geometry: Any) -> bool:
    """Whether a geometry is valid: `shapely.is_valid`, which mutes the warnings of all threads while it looks."""
    return bool(shapely.is_valid_reason(geometry) == "Valid Geometry")


def _back(area: Any, origin: Floats) -> Any:
    """Shift back; what rounding spoils is widened by a hair first."""
    made = moved(area, origin)
    if is_valid(made):
        return made
    made = moved(
        shapely.set_precision(shapely.buffer(area, HAIR_M, join_style="mitre"), HAIR_M / 10.0), origin
    )
    return made if is_valid(made) else shapely.buffer(made, HAIR_M)


def _hairs(lines: Sequence[Any]) -> Any:
    return shapely.buffer(shapely.union_all(np.asarray(lines, dtype=object)), HAIR_M, quad_segs=2)


def _closed_in(polygon: Any) -> Any:
    """One polygon, near the origin."""
    rings = list(shapely.get_rings(polygon))
    area = _faces(rings[0])
    for ring in rings[1:]:
        hole = shapely.polygons(ring)
        # A hole is open water within a hazard; only one drawn beyond doubt is believed.
        if is_valid(hole) and shapely.covers(area, hole):
            area = shapely.difference(area, hole)
    edge = shapely.buffer(shapely.boundary(area), 1e-9) if not area.is_empty else area
    lines: Any = [shapely.linestrings(shapely.get_coordinates(ring)) for ring in rings]
    outside = shapely.difference(lines, edge)
    loose = outside[~shapely.is_empty(outside)].tolist()
    # A line within the area adds nothing; one that bounds nothing is a wall.
    return shapely.union(area, _hairs(loose)) if loose else area


def enclosed_either_way(geometry: Any) -> Any:
    """Repair an area that must be kept out of, so that nothing of it is lost.

    Parameters
    ----------
    geometry
        Polygon or MultiPolygon, valid or not.

    Returns
    -------
    Valid; a valid one is returned as it is. Everything a ring encloses, crossed, doubly wound or otherwise, and a
    hair about every line that encloses nothing.
    """
    parts = polygons_in(geometry)
    if not parts or is_valid(geometry):
        return geometry
    origin = origin_of(geometry)
    near = [_closed_in(moved(part, -origin)) for part in parts]
    return _back(shapely.multipolygons(polygons_in(shapely.union_all(near))), origin)


def water_beyond_doubt(geometry: Any) -> Any:
    """Repair a water so that no line of its edge and nothing an island encloses becomes water.

    Parameters
    ----------
    geometry
        Polygon or MultiPolygon, valid or not.

    Returns
    -------
    Valid; a valid one is returned as it is.
    """
    parts = polygons_in(geometry)
    if not parts or is_valid(geometry):
        return geometry
    origin = origin_of(geometry)
    kept = []
    for part in parts:
        shell, *holes = list(shapely.get_rings(moved(part, -origin)))
        area = _faces(shell)
        land = [enclosed_either_way(shapely.polygons(hole)) for hole in holes]
        edges = [shapely.linestrings(shapely.get_coordinates(ring)) for ring in (shell, *holes)]
        loose = shapely.difference(
            np.asarray(edges, dtype=object), shapely.buffer(shapely.boundary(area), 1e-9)
        )
        walls = _hairs(list(loose[~shapely.is_empty(loose)])) if not shapely.is_empty(loose).all() else None
        for taken in (*land, *([] if walls is None else [walls])):
            area = shapely.difference(area, taken)
        kept.append(area)
    made = moved(shapely.multipolygons(polygons_in(shapely.union_all(kept))), origin)
    return made if is_valid(made) else shapely.make_valid(made, method="structure", keep_collapsed=False)
