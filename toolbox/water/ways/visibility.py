"""What is seen from where over a triangulated water: the edges shortest ways are made of.

Triangular expansion (F. Bungiu, M. Hemmer, J. Hershberger, K. Huang, A. Kroeller, Efficient computation of
visibility polygons, EuroCG 2014) from all eyes at once, one ring of triangles after the other. An eye at a corner of
the shore looks only where a shortest way can turn on: along lines that graze the corner (tangents).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...arrays import Flags, Floats, Ints
from .mesh import turn

if TYPE_CHECKING:
    from .mesh import Mesh


_CHUNK = 200_000  # wedges started together; bounds memory, never the answer


@dataclass(frozen=True, eq=False)
class Places:
    """Points on the water and the triangles that hold them (two when on an edge, more when on a corner)."""

    xy: Floats
    place: Ints  # one entry for each pair of place and triangle, sorted by triangle
    triangle: Ints


@dataclass(frozen=True, eq=False)
class _Wedges:
    """What an eye sees through one edge: between two limits, each a corner or (sign -1) its mirror image."""

    eye: Ints
    half_edge: Ints
    left: Ints
    left_sign: Floats
    right: Ints
    right_sign: Floats

    def __len__(self) -> int:
        return len(self.eye)

    def take(self, rows: Ints | Flags | slice) -> _Wedges:
        return _Wedges(
            self.eye[rows],
            self.half_edge[rows],
            self.left[rows],
            self.left_sign[rows],
            self.right[rows],
            self.right_sign[rows],
        )


def _joined(wedges: list[_Wedges]) -> _Wedges:
    return _Wedges(
        np.concatenate([w.eye for w in wedges]),
        np.concatenate([w.half_edge for w in wedges]),
        np.concatenate([w.left for w in wedges]),
        np.concatenate([w.left_sign for w in wedges]),
        np.concatenate([w.right for w in wedges]),
        np.concatenate([w.right_sign for w in wedges]),
    )


def _ranges(counts: Ints) -> tuple[Ints, Ints]:
    """Row number and running number within the row, for rows of the given lengths."""
    row = np.repeat(np.arange(len(counts)), counts)
    return row, np.arange(len(row)) - np.repeat(np.cumsum(counts) - counts, counts)


def grazes(mesh: Mesh, eye: Floats, corner: Ints) -> Flags:
    """Tell whether the line from an eye through a corner leaves the shore there on one side."""
    xy = mesh.xy[corner]
    one = turn(eye, xy, mesh.xy[mesh.before[corner]])
    other = turn(eye, xy, mesh.xy[mesh.after[corner]])
    return ~(((one > 0.0) & (other < 0.0)) | ((one < 0.0) & (other > 0.0)))


def _corner_wedges(mesh: Mesh, eyes: Ints, kept: Flags) -> _Wedges:
    """First wedges of corners: the two cones of tangents, cut along the triangles of the corner's fan."""
    wanted = np.zeros(len(mesh.xy), dtype=bool)
    wanted[eyes] = True
    corner = np.flatnonzero(wanted[mesh.triangles.ravel()] & np.repeat(kept, 3))
    vertex = mesh.triangles.ravel()
    eye = vertex[corner]
    base = corner - corner % 3
    half_edge = base + (corner + 1) % 3
    right, left = vertex[half_edge], vertex[base + (corner + 2) % 3]
    at, before, after = mesh.xy[eye], mesh.before[eye], mesh.after[eye]
    plus = np.ones(len(eye))
    right_of_tangent = turn(at, mesh.xy[before], mesh.xy[right]) > 0.0
    left_inside = turn(at, mesh.xy[before], mesh.xy[left]) > 0.0
    first = _Wedges(
        eye,
        half_edge,
        np.where(left_inside, left, before),
        np.where(left_inside, 1.0, -1.0),
        right,
        plus,
    ).take(right_of_tangent)
    left_of_tangent = turn(at, mesh.xy[after], mesh.xy[left]) < 0.0
    right_inside = turn(at, mesh.xy[after], mesh.xy[right]) < 0.0
    second = _Wedges(
        eye,
        half_edge,
        left,
        plus,
        np.where(right_inside, right, after),
        np.where(right_inside, 1.0, -1.0),
    ).take(left_of_tangent)
    return _joined([first, second])


def _place_wedges(mesh: Mesh, places: Places) -> _Wedges:
    """First wedges of places: every edge of their triangles that they see from its inner side."""
    row = np.repeat(np.arange(len(places.place)), 3)
    half_edge = (places.triangle[:, None] * 3 + np.arange(3)).ravel()
    vertex = mesh.triangles.ravel()
    right = vertex[half_edge]
    left = vertex[np.where(half_edge % 3 == 2, half_edge - 2, half_edge + 1)]
    eye = places.place[row]
    plus = np.ones(len(eye))
    inside = turn(mesh.xy[right], mesh.xy[left], places.xy[eye]) > 0.0
    return _Wedges(eye, half_edge, left, plus, right, plus).take(inside)


def _advance(
    mesh: Mesh, wedges: _Wedges, eye_xy: Floats, through: Flags
) -> tuple[Ints, Ints, Flags, _Wedges, _Wedges]:
    """Cross one edge each: (row crossed, corner met, seen?, wedges crossed, wedges onward)."""
    wedges = wedges.take(through[wedges.half_edge])
    entered = mesh.twin[wedges.half_edge]
    base = entered - entered % 3
    right_exit, left_exit = base + (entered + 1) % 3, base + (entered + 2) % 3
    met = mesh.triangles.ravel()[left_exit]
    eye, xy = eye_xy[wedges.eye], mesh.xy[met]
    from_right = wedges.right_sign * turn(eye, mesh.xy[wedges.right], xy)
    from_left = wedges.left_sign * turn(eye, mesh.xy[wedges.left], xy)
    past_right, past_left = from_right > 0.0, from_left < 0.0
    # What lies straight behind a limiting corner is seen from that corner; behind a mirrored limit stands nobody.
    seen = past_right | ((from_right == 0.0) & (wedges.right_sign < 0.0))
    seen &= past_left | ((from_left == 0.0) & (wedges.left_sign < 0.0))
    plus = np.ones(len(wedges))
    go_right = _Wedges(
        wedges.eye,
        right_exit,
        np.where(past_left, met, wedges.left),
        np.where(past_left, plus, wedges.left_sign),
        wedges.right,
        wedges.right_sign,
    ).take(past_right)
    go_left = _Wedges(
        wedges.eye,
        left_exit,
        wedges.left,
        wedges.left_sign,
        np.where(past_right, met, wedges.right),
        np.where(past_right, plus, wedges.right_sign),
    ).take(past_left)
    return entered // 3, met, seen, wedges, _joined([go_right, go_left])


def _passable(mesh: Mesh, kept: Flags) -> Flags:
    """Half-edges a view may cross: inner ones between triangles that count."""
    return (mesh.twin >= 0) & np.repeat(kept, 3) & kept[mesh.twin // 3]


def corner_sights(mesh: Mesh, kept: Flags, bends: Flags) -> tuple[Ints, Ints]:
    """Pairs of corners that see each other along a line grazing both.

    Parameters
    ----------
    mesh
        The water.
    kept
        Triangles a shortest way can enter.
    bends
        Corners a shortest way can bend round.

    Returns
    -------
    The two corners of each pair, the smaller number first, sorted, each pair once.
    """
    through = _passable(mesh, kept)
    vertex = mesh.triangles.ravel()
    # The edges of the mesh themselves: their ends see each other.
    half_edges = np.flatnonzero(np.repeat(kept, 3))
    one, other = vertex[half_edges], vertex[np.where(half_edges % 3 == 2, half_edges - 2, half_edges + 1)]
    both = bends[one] & bends[other]
    one, other = one[both], other[both]
    tangent = grazes(mesh, mesh.xy[one], other) & grazes(mesh, mesh.xy[other], one)
    found = [np.stack([np.minimum(one, other)[tangent], np.maximum(one, other)[tangent]])]
    start = _corner_wedges(mesh, np.flatnonzero(bends), kept)
    for first in range(0, len(start), _CHUNK):
        wedges = start.take(slice(first, first + _CHUNK))
        while len(wedges):
            _, met, seen, crossed, wedges = _advance(mesh, wedges, mesh.xy, through)
            rows = np.flatnonzero(seen & bends[met] & (crossed.eye < met))
            eye, corner = crossed.eye[rows], met[rows]
            tangent = grazes(mesh, mesh.xy[eye], corner)
            found.append(np.stack([eye[tangent], corner[tangent]]))
    pairs = np.concatenate(found, axis=1)
    key = np.unique(pairs[0] * len(mesh.xy) + pairs[1])
    return key // max(len(mesh.xy), 1), key % max(len(mesh.xy), 1)


def place_sights(
    mesh: Mesh, kept: Flags, bends: Flags, places: Places
) -> tuple[tuple[Ints, Ints], tuple[Ints, Ints]]:
    """Find what places see: corners a way can bend round (grazing them), and other places.

    Parameters
    ----------
    mesh, kept, bends
        As in `corner_sights`.
    places
        Points on the water, all different.

    Returns
    -------
    Pairs (place, corner) and pairs (place, place), the smaller number first; each sorted and once.
    """
    through = _passable(mesh, kept)
    first_at = np.searchsorted(places.triangle, np.arange(len(mesh.triangles) + 1))
    # In its own triangles a place sees every corner and every other place.
    own_corner = mesh.triangles[places.triangle].ravel()
    own_place = np.repeat(places.place, 3)
    corners, neighbours = [np.stack([own_place, own_corner])], []
    count = first_at[places.triangle + 1] - first_at[places.triangle]
    row, number = _ranges(count)
    neighbours.append(np.stack([places.place[row], places.place[first_at[places.triangle[row]] + number]]))
    wedges = _place_wedges(mesh, places)
    while len(wedges):
        entered, met, seen, crossed, wedges = _advance(mesh, wedges, places.xy, through)
        rows = np.flatnonzero(seen & bends[met])
        corners.append(np.stack([crossed.eye[rows], met[rows]]))
        row, number = _ranges(first_at[entered + 1] - first_at[entered])
        target = places.place[first_at[entered[row]] + number]
        ahead = np.flatnonzero(crossed.eye[row] < target)
        row, target = row[ahead], target[ahead]
        eye = places.xy[crossed.eye[row]]
        right, left = mesh.xy[crossed.right[row]], mesh.xy[crossed.left[row]]
        sees = turn(eye, right, places.xy[target]) >= 0.0
        sees &= turn(eye, left, places.xy[target]) <= 0.0
        neighbours.append(np.stack([crossed.eye[row], target])[:, sees])
    place, corner = np.concatenate(corners, axis=1)
    useful = bends[corner] & np.any(mesh.xy[corner] != places.xy[place], axis=1)
    place, corner = place[useful], corner[useful]
    tangent = grazes(mesh, places.xy[place], corner)
    size = max(len(mesh.xy), 1)
    key = np.unique(place[tangent] * size + corner[tangent])
    one, other = np.concatenate(neighbours, axis=1)
    number_of_places = max(len(places.xy), 1)
    pair = np.unique((np.minimum(one, other) * number_of_places + np.maximum(one, other))[one != other])
    return (key // size, key % size), (pair // number_of_places, pair % number_of_places)
