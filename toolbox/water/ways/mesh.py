"""A water cut into triangles that know their neighbours; no point is added, no edge of the shore is lost.

Which side of a line a point lies on, decided exactly for any floating-point coordinates.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from ...arrays import Flags, Floats, Ints
from ...enclosed import is_valid
from ...errors import DataError

if TYPE_CHECKING:
    from collections.abc import Sequence

# (3 + 16 e) e with e = 2**-53: below this share of the summed products the sign of the plain
# determinant is not proven. J. R. Shewchuk, Adaptive Precision Floating-Point Arithmetic and Fast
# Robust Geometric Predicates, Discrete & Computational Geometry 18 (1997), 305-363.
_ERROR_SHARE = (3.0 + 16.0 * 2.0**-53) * 2.0**-53
_SPLITTER = 2.0**27 + 1.0


def _difference(a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """Return a - b rounded, and what rounding lost (Knuth's two-sum)."""
    high = a - b
    virtual = a - high
    return high, (a - (high + virtual)) + (virtual - b)


def _split(a: Floats) -> tuple[Floats, Floats]:
    big = _SPLITTER * a
    high = big - (big - a)
    return high, a - high


def _product(a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """Return a * b rounded, and what rounding lost (Dekker's product)."""
    high = a * b
    a1, a2 = _split(a)
    b1, b2 = _split(b)
    return high, a2 * b2 - (((high - a1 * b1) - a2 * b1) - a1 * b2)


def _exact_sign(a: Floats, b: Floats, c: Floats) -> Floats:
    """Sign of the turn from the full expansion of the determinant; no rounding enters."""
    (ux, uy), (vx, vy) = (part.T for part in _difference(b, a))
    (wx, wy), (tx, ty) = (part.T for part in _difference(c, a))
    terms: list[Floats] = []
    for p, q in ((ux, wy), (ux, ty), (vx, wy), (vx, ty)):
        terms += _product(p, q)
    for p, q in ((-uy, wx), (-uy, tx), (-vy, wx), (-vy, tx)):
        terms += _product(p, q)
    table = np.stack(terms, axis=1)
    # Where nothing was lost, the difference of the two main products has the right sign by itself.
    sign = np.sign(table[:, 0] + table[:, 8])
    inexact = np.flatnonzero(np.any(np.delete(table, (0, 8), axis=1) != 0.0, axis=1))
    for row in inexact:  # rows are few: only triples collinear to within rounding come here
        sign[row] = np.sign(math.fsum(table[row]))
    return sign


def turn(a: Floats, b: Floats, c: Floats) -> Floats:
    """Tell for each triple of points whether a-b-c turns left (> 0), right (< 0) or runs straight (0).

    Parameters
    ----------
    a, b, c
        Coordinates (n, 2), finite; any origin and unit.

    Returns
    -------
    Numbers (n,) of which only the sign counts.

    Notes
    -----
    The plain determinant decides where its rounding bound allows; the rest is decided from exact sums. Wrong only
    for differences so small or large that products under- or overflow (below 1e-150, above 1e150).
    """
    ax, ay = a[:, 0], a[:, 1]
    left = (b[:, 0] - ax) * (c[:, 1] - ay)
    right = (b[:, 1] - ay) * (c[:, 0] - ax)
    side: Floats = left - right
    doubtful = np.flatnonzero(np.abs(side) < _ERROR_SHARE * (np.abs(left) + np.abs(right)))
    if doubtful.size:
        side[doubtful] = _exact_sign(a[doubtful], b[doubtful], c[doubtful])
    return side


_POLYGON = 3  # shapely's type number; those above it are collections
_EQUAL = 1e-9  # share by which the triangles' area and border may differ from the water's


@dataclass(frozen=True, eq=False)
class Mesh:
    """Triangles of a water, counter-clockwise, glued along their edges.

    A corner of the shore at which water meets itself in a point has one vertex for each side, so that no way
    leads through the point.
    """

    xy: Floats  # coordinates of the vertices, sorted by x, then y
    # three vertices of each triangle; half-edge ``3 t + k`` runs from corner k to corner k + 1
    triangles: Ints
    twin: Ints  # for each half-edge the one on its other side, -1 along the shore
    # the vertices that precede and follow each vertex along the shore, water to the left
    before: Ints
    after: Ints
    part: Ints  # number of the connected water each triangle belongs to

    @cached_property
    def bends(self) -> Flags:
        """Vertices a shortest way can bend round: the water there is at least a straight angle wide."""
        b, v, a = self.xy[self.before], self.xy, self.xy[self.after]
        return turn(b, v, a) <= 0.0


def polygon_parts(geometry: Any) -> list[Any]:
    """List the polygons of any geometry, however deep its collections; points, lines and empty parts go."""
    parts = np.atleast_1d(np.asarray(geometry, dtype=object))
    while np.any(shapely.get_type_id(parts) > _POLYGON):
        parts = shapely.get_parts(parts)
    return list(parts[(shapely.get_type_id(parts) == _POLYGON) & ~shapely.is_empty(parts)])


def _corners(polygons: Sequence[Any]) -> Floats:
    """Corner coordinates (t, 3, 2), counter-clockwise, of a constrained Delaunay triangulation."""
    made = shapely.get_parts(shapely.constrained_delaunay_triangles(np.asarray(polygons, dtype=object)))
    corners: Floats = (
        shapely.get_coordinates(made).reshape(-1, 4, 2)[:, :3] + 0.0
    )  # + 0.0 turns -0.0 into 0.0
    side = turn(corners[:, 0], corners[:, 1], corners[:, 2])
    corners = corners[side != 0.0]
    clockwise = side[side != 0.0] < 0.0
    corners[clockwise] = corners[clockwise][:, ::-1]
    return corners


def _twins(start: Ints, end: Ints) -> Ints:
    """Pair each half-edge with the opposite one; -1 where there is none."""
    size = int(max(start.max(), end.max())) + 1
    own, other = start * size + end, end * size + start
    order = np.argsort(own, kind="stable")
    ranked = own[order]
    at = np.searchsorted(ranked, other)
    at[at == len(ranked)] = 0
    found = order[at]
    return np.where(ranked[at] == other, found, -1)


def _next_corner(half_edges: Ints) -> Ints:
    return np.where(half_edges % 3 == 2, half_edges - 2, half_edges + 1)


def _labels(links: tuple[Ints, Ints], size: int) -> Ints:
    graph = coo_array((np.ones(len(links[0]), dtype=np.int8), links), shape=(size, size))
    return np.asarray(connected_components(graph.tocsr(), directed=False)[1], dtype=np.int64)


def _fans(vertex: Ints, twin: Ints) -> Ints:
    """Give the vertices numbers anew so that the triangles round each one hang together."""
    inner = np.flatnonzero(twin >= 0)
    other = twin[inner]
    # A half-edge starts at its corner; its twin starts at the other end.
    links = (np.concatenate([inner, _next_corner(inner)]), np.concatenate([_next_corner(other), other]))
    fan = _labels(links, len(vertex))
    # One number per fan, in the order of the coordinates, then of the first corner.
    _, first, number = np.unique(fan, return_index=True, return_inverse=True)
    order = np.lexsort((first, vertex[first]))
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    return rank[number.ravel()]


def triangulate(water: Any) -> Mesh:
    """Cut a water into triangles.

    Parameters
    ----------
    water
        Valid Polygon or MultiPolygon in metres; may be empty. Parts may touch in points. Lines and points in it
        do not count.

    Returns
    -------
    Triangles, neighbours and shore of the water.

    Raises
    ------
    DataError
        The water is not valid, or cannot be cut without loss.

    Notes
    -----
    Constrained Delaunay triangulation of GEOS, whose vertices are the water's own, so coordinates are equal
    bit for bit and can be welded. That nothing was lost is checked by area and by length of shore.
    """
    whole = shapely.MultiPolygon(polygon_parts(water))
    if not is_valid(whole):
        raise DataError(
            f"the water is not a valid polygon ({shapely.is_valid_reason(whole)}); repair it with "
            "shapely.make_valid before building its mesh"
        )
    polygons = polygon_parts(shapely.remove_repeated_points(whole, 0.0))
    none = np.empty(0, dtype=np.int64)
    if not polygons:
        return Mesh(np.empty((0, 2)), none.reshape(0, 3), none, none, none, none)
    corners = _corners(polygons)
    xy, vertex = np.unique(corners.reshape(-1, 2), axis=0, return_inverse=True)
    vertex = vertex.ravel()
    half_edges = np.arange(len(vertex))
    twin = _twins(vertex, vertex[_next_corner(half_edges)])
    fan = _fans(vertex, twin)
    fan_xy = np.empty((int(fan.max()) + 1, 2))
    fan_xy[fan] = xy[vertex]
    shore = np.flatnonzero(twin < 0)
    start, end = fan[shore], fan[_next_corner(shore)]
    after = np.full(len(fan_xy), -1, dtype=np.int64)
    before = after.copy()
    after[start], before[end] = end, start
    triangles = fan.reshape(-1, 3)
    inner = np.flatnonzero(twin >= 0)
    part = _labels((inner // 3, twin[inner] // 3), len(triangles))
    _check(polygons, corners, fan_xy[start], fan_xy[end])
    return Mesh(fan_xy, triangles, twin, before, after, part)


def _check(polygons: Sequence[Any], corners: Floats, start: Floats, end: Floats) -> None:
    u, w = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area = 0.5 * float(np.sum(u[:, 0] * w[:, 1] - u[:, 1] * w[:, 0]))
    length = float(np.sum(np.hypot(*(end - start).T)))
    wanted_area, wanted_length = (
        float(np.sum(shapely.area(polygons))),
        float(np.sum(shapely.length(polygons))),
    )
    if abs(area - wanted_area) > _EQUAL * wanted_area or abs(length - wanted_length) > _EQUAL * wanted_length:
        raise DataError(
            f"the water cannot be cut into triangles without loss: area {area:g} of {wanted_area:g} m2, shore "
            f"{length:g} of {wanted_length:g} m; smooth it with shapely.set_precision(water, 0.001) and try again"
        )
