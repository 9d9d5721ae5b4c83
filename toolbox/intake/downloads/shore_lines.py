"""Areas from lines: rings closed, small gaps joined and reported by length, islands kept."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
import shapely

if TYPE_CHECKING:
    from ...arrays import Geometries

_SNAP_M: Final = 0.05
_LARGEST_GAP: Final = 0.02  # of the length of all lines
_MOST_GAP_M: Final = 60.0
_MOST_ENDS: Final = 1000


class Areas(NamedTuple):
    """Areas that lines enclose, the gaps that were closed and those that were not, in metres."""

    areas: Geometries
    closed_m: list[float]
    open_m: list[float]


def _loose_ends(lines: Geometries) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Give the ends of lines that no other line touches."""
    parts = shapely.get_parts(lines)
    open_ones = parts[~shapely.is_closed(parts)]
    if not len(open_ones):
        return np.empty((0, 2))
    ends = np.concatenate(
        [
            shapely.get_coordinates(shapely.get_point(open_ones, 0)),
            shapely.get_coordinates(shapely.get_point(open_ones, -1)),
        ]
    )
    points = shapely.points(ends)
    tree = shapely.STRtree(parts)
    at, _ = tree.query(points, predicate="dwithin", distance=1e-6)
    return ends[np.bincount(at, minlength=len(ends)) < 2]


def areas_of_lines(lines: Geometries) -> Areas:
    """Close lines to areas.

    Parameters
    ----------
    lines
        In metres. Where two loose ends lie near each other, within a fiftieth of the length of all lines and 60 m, they
        are joined, the nearest first.
    """
    whole = shapely.line_merge(
        shapely.union_all(shapely.set_precision(shapely.force_2d(lines), _SNAP_M / 10))
    )
    parts = shapely.get_parts(whole)
    ends = _loose_ends(parts)[:_MOST_ENDS]
    limit = min(_MOST_GAP_M, _LARGEST_GAP * float(shapely.length(parts).sum()))
    joins, closed = [], []
    free = list(range(len(ends)))
    while len(free) > 1:
        xy = ends[free]
        apart = np.hypot(xy[:, None, 0] - xy[None, :, 0], xy[:, None, 1] - xy[None, :, 1])
        np.fill_diagonal(apart, np.inf)
        i, j = np.unravel_index(int(np.argmin(apart)), apart.shape)
        gap = float(apart[i, j])
        if gap > limit:
            break
        joins.append(shapely.LineString([xy[i], xy[j]]))
        closed.append(gap)
        free = [k for n, k in enumerate(free) if n not in (i, j)]
    left: list[float] = []
    if free:
        xy = ends[free]
        apart = np.hypot(xy[:, None, 0] - xy[None, :, 0], xy[:, None, 1] - xy[None, :, 1])
        np.fill_diagonal(apart, np.inf)
        left = [float(g) for g in apart.min(axis=1)] if len(free) > 1 else [float("inf")]
    net = shapely.union_all(np.array([*parts, *joins], dtype=object))
    faces = np.asarray(shapely.get_parts(shapely.polygonize(shapely.get_parts(net))), dtype=object)
    return Areas(_outer(faces), [g for g in closed if g > _SNAP_M], left)


def _outer(faces: Geometries) -> Geometries:
    """Leave out faces that fill a hole of another one: islands."""
    if len(faces) < 2:
        return faces
    shells = np.asarray(shapely.polygons(shapely.get_exterior_ring(faces)), dtype=object)
    area = np.asarray(shapely.area(shells))
    tree = shapely.STRtree(shells)
    inner = shapely.point_on_surface(faces)
    at, within = tree.query(inner, predicate="within")
    filled = np.unique(at[(at != within) & (area[within] > area[at])])
    keep = np.ones(len(faces), dtype=bool)
    keep[filled] = False
    return faces[keep]
