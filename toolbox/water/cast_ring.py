"""The ring of water from which a structure can be cast to: between least and most cast, in sight over water.

Sight is exact: each piece of shore within a cast throws a shadow away from the place that is looked at, and what
lies in no shadow is seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.intp]
    Geometries = NDArray[np.object_]

_ARC_SEGMENTS: Final = 18
_VIEW_M: Final = 5.0  # spacing of the places along a line or an edge that are cast to
_MOST_VIEWS: Final = 80
_ON_SHORE_M: Final = 0.01  # nearer to the shore than this, a place is on it
_FAN: Final = 4  # far corners of a shadow; with four steps of at most 45 degrees it reaches past the ring
_FAR: Final = 3.0  # how far a shadow reaches, in greatest casts; pieces of shore within reach end before


@dataclass(frozen=True, eq=False)
class Reach:
    """Cast reach of n structures.

    Attributes
    ----------
    area
        Water from which the structure can be cast to; empty where there is none.
    reason
        Why there is none, empty text otherwise.
    cut
        Whether land takes a part of the full ring.
    """

    area: Geometries
    reason: list[str]
    cut: NDArray[np.bool_]


def _shore(whole: shapely.Geometry, longest_m: float) -> Geometries:
    """Cut the edges of the water into straight pieces no longer than given."""
    rings = shapely.segmentize(shapely.get_rings(shapely.get_parts(whole)), longest_m)
    coordinates, ring = shapely.get_coordinates(rings, return_index=True)
    inside = ring[1:] == ring[:-1]
    ends = np.stack([coordinates[:-1][inside], coordinates[1:][inside]], axis=1)
    return np.asarray(shapely.linestrings(ends[(ends[:, 0] != ends[:, 1]).any(axis=1)]))


def _views(structures: Geometries, whole: shapely.Geometry) -> tuple[Geometries, Ints]:
    """Give the places of each structure that are cast to: points, and points along lines and edges."""
    parts, owner = shapely.get_parts(structures, return_index=True)
    points = shapely.get_type_id(parts) == 0
    lines = np.where(shapely.get_dimensions(parts) == 2, shapely.boundary(parts), parts)
    lines = lines[~points]
    long = shapely.length(lines) > _VIEW_M * _MOST_VIEWS
    lines[long] = shapely.intersection(lines[long], whole)  # so that the places are spent on the water
    lines, of_line = shapely.get_parts(lines, return_index=True)
    line_owner = owner[~points][of_line]
    kept = shapely.get_type_id(lines) == 1
    lines, line_owner = lines[kept], line_owner[kept]
    length = shapely.length(lines)
    number = np.ceil(length / _VIEW_M).clip(1, _MOST_VIEWS).astype(np.intp) + 1
    line = np.repeat(np.arange(len(lines)), number)
    step = np.arange(len(line)) - np.repeat(np.cumsum(number) - number, number)
    along = shapely.line_interpolate_point(lines[line], step * (length / (number - 1))[line])
    view = np.concatenate([parts[points], along])
    of_view = np.concatenate([owner[points], line_owner[line]])
    order = np.argsort(of_view, kind="stable")
    return view[order], of_view[order]


def _shadows(x: Floats, y: Floats, ends: Floats, far_m: float) -> tuple[Geometries, NDArray[np.bool_]]:
    """Draw the shadow each piece of shore throws away from a place; tell which throw one at all."""
    first = ends[:, 0] - np.column_stack([x, y])
    last = ends[:, 1] - np.column_stack([x, y])
    cross = first[:, 0] * last[:, 1] - first[:, 1] * last[:, 0]
    turn = np.arctan2(cross, (first * last).sum(axis=1))
    # A piece in line with the place throws a shadow without width.
    wide = np.abs(turn) > 1e-12
    start = np.arctan2(first[:, 1], first[:, 0])
    angle = start[:, None] + turn[:, None] * np.linspace(0.0, 1.0, _FAN + 1)
    # The outer corners lie exactly on the lines through the piece's own ends, so that neighbours share them.
    angle[:, -1] = np.arctan2(last[:, 1], last[:, 0])
    outer = np.stack([x[:, None] + far_m * np.cos(angle), y[:, None] + far_m * np.sin(angle)], axis=2)
    corners = np.concatenate([ends[:, :1], outer, ends[:, 1:], ends[:, :1]], axis=1)
    return np.asarray(shapely.polygons(corners[wide])), wide


def cast_reaches(structures: Geometries, water: Geometries, *, least_m: float, most_m: float) -> Reach:
    """Give the water from which each structure can be cast to.

    Parameters
    ----------
    structures
        Valid, non-empty points, lines and polygons, single or multi.
    water
        Polygons of today's water; land and dry ground are what they leave out.
    least_m, most_m
        Least and most cast, ``0 <= least_m < most_m``.

    Returns
    -------
    Reach
        One entry a structure. A place belongs to it when it is no nearer to the structure than the least cast
        and a straight line over water, no longer than the most cast, leads to the structure.

    Notes
    -----
    For a point the sight is exact, up to the ring's own arcs (18 pieces to a quarter circle, inside the true
    circle by at most a thousandth of its radius). Along lines and edges the structure is looked at from places
    at most 5 m apart (80 on one line), so a narrow gap in the land may be missed between two of them, never the
    other way round. Parts of a structure on land take no cast.
    """
    n = len(structures)
    area = np.full(n, shapely.Polygon(), dtype=object)
    cut = np.zeros(n, dtype=np.bool_)
    reason = [""] * n
    if not n:
        return Reach(area, reason, cut)
    whole = shapely.union_all(water) if len(water) > 1 else water[0]  # what two waters share is no shore
    shore = _shore(whole, most_m)
    shores = shapely.STRtree(shore)
    waters = shapely.STRtree(water)
    views, owner = _views(structures, whole)
    # Structures with no shore within the most cast need no shadows.
    near = np.zeros(n, dtype=np.bool_)
    near[np.unique(shores.query(structures, predicate="dwithin", distance=most_m)[0])] = True
    afloat = np.zeros(len(views), dtype=np.bool_)
    afloat[waters.query(views, predicate="intersects")[0]] = True
    afloat[shores.query(views, predicate="dwithin", distance=_ON_SHORE_M)[0]] = False
    some_afloat = np.bincount(owner, weights=afloat, minlength=n) > 0
    open_water = ~near & some_afloat
    area[open_water] = shapely.buffer(structures[open_water], most_m, quad_segs=_ARC_SEGMENTS)

    look = np.flatnonzero(near[owner] & afloat)
    view, piece = shores.query(views[look], predicate="dwithin", distance=most_m)
    x, y = shapely.get_x(views[look]), shapely.get_y(views[look])
    ends = shapely.get_coordinates(shore[piece]).reshape(-1, 2, 2)
    shadows, wide = _shadows(x[view], y[view], ends, _FAR * most_m)
    view = view[wide]
    discs = shapely.buffer(views[look], most_m, quad_segs=_ARC_SEGMENTS)
    bounds = np.searchsorted(view, np.arange(len(look) + 1))
    seen = discs.copy()
    for at in np.flatnonzero(np.diff(bounds)):  # a union each: shapely has no grouped one
        dark = shapely.union_all(shadows[bounds[at] : bounds[at + 1]])
        seen[at] = shapely.difference(discs[at], dark)
    last = np.searchsorted(owner[look], np.arange(n + 1))
    for row in np.flatnonzero(np.diff(last)):
        area[row] = shapely.union_all(seen[last[row] : last[row + 1]])
    area = shapely.difference(area, shapely.buffer(structures, least_m, quad_segs=_ARC_SEGMENTS))
    full = shapely.difference(
        shapely.buffer(structures, most_m, quad_segs=_ARC_SEGMENTS),
        shapely.buffer(structures, least_m, quad_segs=_ARC_SEGMENTS),
    )
    cut = near & (shapely.area(area) < 0.999 * shapely.area(full))
    for row in np.flatnonzero(shapely.is_empty(area) | (shapely.area(area) <= 0)):
        area[row] = shapely.Polygon()
        reason[row] = (
            "no water within a cast is in line of sight"
            if some_afloat[row]
            else "on dry ground or on the shore today"
        )
    return Reach(area, reason, cut)
