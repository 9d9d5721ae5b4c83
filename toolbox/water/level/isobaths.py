"""Areas shallower than a limit, drawn on the safe side, and areas without any depth.

What a grid knows of a lake at any level, taken from the open store where it was kept: no level changes it.
"""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from shapely.geometry import MultiPolygon

from ...cache.kept_calls import code_and_libraries
from ...cache.store import fingerprint, open_store
from ...errors import UsageError
from ..bottom.barriers import dry_land
from .isolines import shallow_rings

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from ...arrays import Flags, Floats, Geometries, Ints
    from ...depth import DepthSurface

_STRAY_M = 2.0


def _nodes(surface: DepthSurface) -> tuple[NDArray[np.float32], Floats, Floats]:
    """Cell centres and a rim of nodes on the outer edge of the grid, which repeats the outermost centres."""
    west, south, east, north = surface.bounds
    xs = np.concatenate([[west], surface.xs, [east]])
    ys = np.concatenate([[north], surface.ys, [south]])
    return np.pad(surface.depth_m, 1, mode="edge"), xs, ys


def _twice_areas(corners: Floats, offsets: Ints) -> Floats:
    """Twice the signed area of each ring; positive where it runs counter-clockwise."""
    if len(offsets) < 2:
        return np.empty(0)
    ring = np.repeat(np.arange(len(offsets) - 1), np.diff(offsets))
    x, y = (corners - corners[offsets[ring]]).T
    following = np.arange(len(corners)) + 1
    following[offsets[1:] - 1] = offsets[:-1]
    return np.add.reduceat(x * y[following] - x[following] * y, offsets[:-1])


def _polygons(corners: Floats, offsets: Ints, least_hole_m2: float) -> MultiPolygon:
    """Put every hole into the smallest outer ring round it."""
    twice = _twice_areas(corners, offsets)
    ring = np.repeat(np.arange(len(twice)), np.diff(offsets))
    outer = np.flatnonzero(twice > 0)
    holes = np.flatnonzero(twice < -2.0 * least_hole_m2)
    if len(outer) == 0:
        return MultiPolygon()
    rings = np.asarray(shapely.linearrings(corners, indices=ring))
    shells = np.asarray(shapely.polygons(rings[outer]))
    points = np.asarray(shapely.points(corners[offsets[holes]]))
    shell, hole = shapely.STRtree(points).query(shells, predicate="contains")
    order = np.lexsort((twice[outer][shell], hole))
    hole, first = np.unique(hole[order], return_index=True)
    owner = shell[order][first]
    if len(hole) != len(holes):  # a hole outside every ring would mean that rings cross
        raise AssertionError(f"{len(holes) - len(hole)} of {len(holes)} holes lie in no outer ring")
    by_owner = np.argsort(owner, kind="stable")
    inner = rings[holes][hole[by_owner]]
    counts = np.bincount(owner, minlength=len(outer))
    split = np.split(inner, np.cumsum(counts)[:-1])
    return MultiPolygon([shapely.Polygon(rings[o], list(mine)) for o, mine in zip(outer, split, strict=True)])


def shallower_than(
    surface: DepthSurface, limit_m: float, *, tolerance_m: float | None = None, least_hole_m2: float = 0.0
) -> MultiPolygon:
    """Draw the area in which the surface is shallower than a limit, never too small.

    Parameters
    ----------
    surface
        Depths; use ``surface.shifted(level_m)`` for today's, or a limit of ``limit_m - level_m``.
    limit_m
        Depth of the isobath.
    tolerance_m
        How far the outline may stray into deeper water to save corners; unless told, a quarter of the shorter side
        of a cell but 2 m at most. 0 keeps every corner.
    least_hole_m2
        Deeper pockets inside the area that are smaller than this are closed.

    Returns
    -------
    A valid multipolygon, empty where nothing is shallower. It holds every point of the grid, outer edge
    included, at which ``surface.at`` is below the limit. Where ``surface.at`` is NaN nothing is promised: see
    ``unknown_area``.

    Notes
    -----
    The area exceeds the true one by at most the tolerance, by what a patch bends between its two diagonals, and
    by the closed pockets. Near cells without depth it ends at the last known centre.
    """
    if not np.isfinite(limit_m):
        raise UsageError(f"The depth of the isobath is {limit_m}; give a finite length.")
    if tolerance_m is None:
        tolerance_m = min(0.25 * min(surface.cell_x_m, surface.cell_y_m), _STRAY_M)
    if not (np.isfinite(tolerance_m) and tolerance_m >= 0):
        raise UsageError(
            f"The tolerance of an isobath is {tolerance_m}; give a finite length of 0 m or more."
        )
    depth, xs, ys = _nodes(surface)
    corners, offsets = shallow_rings(depth, xs, ys, float(limit_m), float(tolerance_m))
    return _polygons(corners, offsets, least_hole_m2)


def isobath_lines(surface: DepthSurface, depths_m: Iterable[float]) -> tuple[Geometries, Floats]:
    """Draw lines of equal depth.

    Parameters
    ----------
    surface
        Depths, today's by ``surface.shifted(level_m)``.
    depths_m
        Depth of each isobath.

    Returns
    -------
    Lines (n,), to a tenth of a cell, and the depth of each; none where less than four cells have a depth.
    """
    import contourpy

    within_m = min(0.1 * min(surface.cell_x_m, surface.cell_y_m), 0.5)
    lines: list[Any] = []
    told: list[float] = []
    if min(surface.shape) >= 2 and bool(np.isfinite(surface.depth_m).any()):
        drawn = contourpy.contour_generator(
            surface.xs, surface.ys[::-1], np.ma.masked_invalid(surface.depth_m[::-1])
        )
        for depth in depths_m:
            found: Any = drawn.lines(float(depth))
            own = [shapely.LineString(line).simplify(within_m) for line in found if len(line) > 1]
            lines += own
            told += [float(depth)] * len(own)
    return np.array([*lines, None], dtype=object)[:-1], np.array(told)


def unknown_area(surface: DepthSurface) -> MultiPolygon:
    """Draw the area of the grid in which the surface has no depth.

    Returns
    -------
    A valid multipolygon along the lines between cell centres, empty where every depth is known. Its interior is
    where ``surface.at`` is NaN. Ground outside the grid has no depth either and is not part of it.
    """
    from rasterio.features import shapes

    depth, xs, ys = _nodes(surface)
    missing = np.isnan(depth)
    patches = missing[:-1, :-1] | missing[:-1, 1:] | missing[1:, :-1] | missing[1:, 1:]
    if not patches.any():
        return MultiPolygon()
    found = [shapely.geometry.shape(outline) for outline, _ in shapes(patches.astype(np.uint8), mask=patches)]
    columns, rows = np.arange(len(xs)), np.arange(len(ys))

    def place(nodes: Floats) -> Floats:
        return np.column_stack([np.interp(nodes[:, 0], columns, xs), np.interp(nodes[:, 1], rows, ys)])

    # Rows run south, so that outlines come out mirrored; shapely cares for validity, not for direction.
    return MultiPolygon(list(shapely.transform(found, place)))


_UNKNOWN, _LAND = "the area of unknown depth", "the dry land of the grid"
_AREAS: Final = (shapely.GeometryType.POLYGON, shapely.GeometryType.MULTIPOLYGON)


def _key(what: str, surface: DepthSurface, *parts: bytes) -> str:
    """Fingerprint where a surface lies and where it knows no depth: all that counts, and the same at every level."""
    grid = (surface.shape, surface.west_m, surface.north_m, surface.cell_x_m, surface.cell_y_m)
    known = np.packbits(np.isnan(surface.depth_m))
    return fingerprint(what, code_and_libraries(), repr(grid), known, *parts)


def kept_unknown_area(surface: DepthSurface) -> BaseGeometry:
    """Draw the area without depth as `unknown_area` does, or take it from the open store."""
    store = open_store()
    if store is None:
        return unknown_area(surface)
    key = _key(_UNKNOWN, surface)
    found = store.get(key)
    if found is not None and set(found) == {"area"}:
        with contextlib.suppress(shapely.errors.GEOSException, TypeError, ValueError):  # not of our making
            kept: BaseGeometry = shapely.from_wkb(found["area"].tobytes())
            if shapely.get_type_id(kept) in _AREAS:
                return kept
    area = unknown_area(surface)
    store.put(key, {"area": np.frombuffer(shapely.to_wkb(area, byte_order=1), dtype=np.uint8)})
    return area


def kept_dry_land(surface: DepthSurface, lake: BaseGeometry) -> Flags:
    """Mark the unknown cells outside the shoreline as `dry_land` does, or take them from the open store."""
    store = open_store()
    if store is None:
        return dry_land(surface, lake)
    key = _key(_LAND, surface, shapely.to_wkb(lake, byte_order=1))
    found = store.get(key)
    rows, columns = surface.shape
    held = None if found is None or set(found) != {"land"} else found["land"]
    if held is not None and held.dtype == np.uint8 and held.shape == (-(-rows * columns // 8),):
        bits = np.unpackbits(held, count=rows * columns)
        return bits.reshape(rows, columns).view(np.bool_)
    land = dry_land(surface, lake)
    store.put(key, {"land": np.packbits(land)})
    return land
