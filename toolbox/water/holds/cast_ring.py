"""The ring of water from which a structure can be cast to: between least and most cast, in sight over water.

Sight is exact: each piece of shore within a cast throws a shadow away from the place that is looked at, and what
lies in no shadow is seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from .wind_cast import within_casts

if TYPE_CHECKING:
    from ...arrays import Flags, Floats, Geometries, Indices


_ARC_SEGMENTS: Final = 18
_VIEW_M: Final = 5.0  # spacing of the places along a line or an edge that are cast to
_MOST_VIEWS: Final = 80
_ON_SHORE_M: Final = 0.01  # nearer to the shore than this, a place is on it
_FAN: Final = 4  # far corners of a shadow; with four steps of at most 45 degrees it reaches past the ring
_FAR: Final = 3.0  # how far a shadow reaches, in greatest casts; pieces of shore within reach end before


@dataclass(frozen=True, eq=False)
class CastRings:
    """Cast reach of n structures."""

    area: Geometries  # water from which the structure can be cast to; empty where there is none
    reason: list[str]  # why there is none, empty text otherwise
    # whether land or tall cover takes a part of the full ring, and whether tall cover does
    cut: Flags
    covered: Flags


def _edges(areas: Geometries, longest_m: float) -> tuple[Geometries, Indices]:
    """Cut the edges of areas into straight pieces no longer than given; give the area of each too."""
    parts, area = shapely.get_parts(areas, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    coordinates, ring = shapely.get_coordinates(shapely.segmentize(rings, longest_m), return_index=True)
    inside = (ring[1:] == ring[:-1]) & (coordinates[1:] != coordinates[:-1]).any(axis=1)
    ends = np.stack([coordinates[:-1][inside], coordinates[1:][inside]], axis=1)
    return np.asarray(shapely.linestrings(ends)), np.asarray(area[part[ring[:-1][inside]]])


def _discs(structures: Geometries, radius_m: Floats, shape: Floats | None) -> Geometries:
    """Area within a cast of structures."""
    if shape is None:
        return np.asarray(shapely.buffer(structures, radius_m, quad_segs=_ARC_SEGMENTS))
    return within_casts(structures, radius_m, shape)


def _views(structures: Geometries, whole: shapely.Geometry) -> tuple[Geometries, Indices]:
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


def _shadows(x: Floats, y: Floats, ends: Floats, far_m: float) -> tuple[Geometries, Flags]:
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


def _seen(
    views: Geometries, owner: Indices, most_m: Floats, blocks: _Blocks, shape: Floats | None
) -> tuple[Geometries, Flags]:
    """Give what is seen from each place, and whether tall cover hides some of it."""
    far_m = _FAR * float(most_m.max(initial=0.0))
    view, piece = blocks.tree.query(views, predicate="dwithin", distance=most_m)
    screen = blocks.screen[piece]
    hides = np.ones(len(view), dtype=np.bool_)
    some = np.flatnonzero(screen >= 0)
    hides[some] = blocks.rows[screen[some]] != owner[view[some]]
    hides[some] &= ~shapely.intersects(blocks.screens[screen[some]], views[view[some]])
    view, piece = view[hides], piece[hides]
    x, y = shapely.get_x(views), shapely.get_y(views)
    ends = shapely.get_coordinates(blocks.pieces[piece]).reshape(-1, 2, 2)
    shadows, wide = _shadows(x[view], y[view], ends, far_m)
    covered = np.zeros(len(views), dtype=np.bool_)
    covered[view[blocks.screen[piece] >= 0]] = True
    view = view[wide]
    order = np.argsort(view, kind="stable")
    view, shadows = view[order], shadows[order]
    seen = _discs(views, most_m, shape)
    bounds = np.searchsorted(view, np.arange(len(views) + 1))
    for at in np.flatnonzero(np.diff(bounds)):  # a union each: shapely has no grouped one
        dark = shapely.union_all(shadows[bounds[at] : bounds[at + 1]])
        seen[at] = shapely.difference(seen[at], dark)
    return seen, covered


@dataclass(frozen=True, eq=False)
class _Blocks:
    """Straight pieces that throw shadows, and for each the tall cover it is the edge of, -1 for shore."""

    pieces: Geometries
    screen: Indices
    screens: Geometries
    rows: Indices
    tree: shapely.STRtree


def cast_reaches(
    structures: Geometries,
    water: Geometries,
    *,
    least_m: float | Floats,
    most_m: float | Floats,
    shape: Floats | None = None,
    screens: Geometries | None = None,
    screen_rows: Indices | None = None,
) -> CastRings:
    """Give the water from which each structure can be cast to.

    Parameters
    ----------
    structures
        Valid, non-empty points, lines and polygons, single or multi.
    water
        Polygons of today's water; land and dry ground are what they leave out.
    least_m, most_m
        Least and most cast of all, or of each; where the least is not below the most there is no reach.
    shape
        Outline of a cast's reach in the wind, from `wind_cast.wind_shape`; a circle by default.
    screens, screen_rows
        Areas of tall cover, which no cast goes over, and the row of the structure each is. A structure is no
        screen before itself, nor before a place that lies within it.

    Returns
    -------
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
    cut, covered = np.zeros(n, dtype=np.bool_), np.zeros(n, dtype=np.bool_)
    reason = [""] * n
    if not n:
        return CastRings(area, reason, cut, covered)
    least, most = np.broadcast_to(least_m, n).astype(float), np.broadcast_to(most_m, n).astype(float)
    wide = least < most
    whole = shapely.union_all(water) if len(water) > 1 else water[0]  # what two waters share is no shore
    screens = np.empty(0, dtype=object) if screens is None else screens
    rows = np.empty(0, dtype=np.intp) if screen_rows is None else screen_rows
    piece_m = max(float(most.max()), 1.0)  # errors of position may take the whole cast and more
    shore, _ = _edges(np.array([whole], dtype=object), piece_m)
    fence, screen = _edges(screens, piece_m)
    pieces = np.concatenate([shore, fence])
    of_screen = np.concatenate([np.full(len(shore), -1, dtype=np.intp), screen])
    blocks = _Blocks(pieces, of_screen, screens, rows, shapely.STRtree(pieces))
    shores = shapely.STRtree(shore)
    waters = shapely.STRtree(water)
    views, owner = _views(structures, whole)
    # Structures with nothing in sight's way within the most cast need no shadows.
    near = np.zeros(n, dtype=np.bool_)
    near[np.unique(blocks.tree.query(structures, predicate="dwithin", distance=most)[0])] = True
    afloat = np.zeros(len(views), dtype=np.bool_)
    afloat[waters.query(views, predicate="intersects")[0]] = True
    afloat[shores.query(views, predicate="dwithin", distance=_ON_SHORE_M)[0]] = False
    some_afloat = np.bincount(owner, weights=afloat, minlength=n) > 0
    open_water = ~near & some_afloat & wide
    area[open_water] = _discs(structures[open_water], most[open_water], shape)

    look = np.flatnonzero((near & wide)[owner] & afloat)
    seen, hidden = _seen(views[look], owner[look], most[owner[look]], blocks, shape)
    covered[owner[look[hidden]]] = True
    last = np.searchsorted(owner[look], np.arange(n + 1))
    for row in np.flatnonzero(np.diff(last)):
        area[row] = shapely.union_all(seen[last[row] : last[row + 1]])
    inner = shapely.buffer(structures, least, quad_segs=_ARC_SEGMENTS)
    area = shapely.difference(area, inner)
    full = np.full(n, shapely.Polygon(), dtype=object)
    full[near & wide] = shapely.difference(
        _discs(structures[near & wide], most[near & wide], shape), inner[near & wide]
    )
    cut = near & (shapely.area(area) < 0.999 * shapely.area(full))
    for row in np.flatnonzero(shapely.is_empty(area) | (shapely.area(area) <= 0)):
        area[row] = shapely.Polygon()
        if not wide[row]:
            reason[row] = "the least cast is not shorter than the most"
        elif some_afloat[row]:
            reason[row] = "no water within a cast is in line of sight"
        else:
            reason[row] = "on dry ground or on the shore today"
    return CastRings(area, reason, cut, cut & covered)
