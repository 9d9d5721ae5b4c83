"""Safe water: what is left of a lake when hazards, closed zones and a boat's clearance are taken away.

What safe water is made from.

Unions of areas that are asked for again and again in one piece of work: each is worked once.
"""

from __future__ import annotations

import functools
import threading
from collections import OrderedDict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...arrays import Flags, Floats, Geometries
from ...cache.store import fingerprint
from ...compiled import side_by_side
from ...enclosed import enclosed_either_way, is_valid, moved, origin_of
from ...errors import DataError, UsageError
from ...report import note
from .mesh import polygon_parts

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd

    from ...depth import DepthSurface

_MOST: Final = 6  # unions remembered: those of one lake's layers; they are large

_lock = threading.Lock()
_remembered: OrderedDict[str, Any] = OrderedDict()


def union_of(areas: Sequence[Any] | Geometries) -> Any:
    """Unite areas as `shapely.union_all` does, to the bit.

    Parameters
    ----------
    areas
        Geometries; None counts as empty.

    Returns
    -------
    shapely.Geometry
        The union. It is found again by every bit of the areas, so it is that of no others; like all geometries it
        cannot be changed.
    """
    given = np.asarray(areas, dtype=object)
    bits = shapely.to_wkb(given, byte_order=1, include_srid=False)
    key = fingerprint(*(b"" if one is None else one for one in bits))
    with _lock:
        if key in _remembered:
            _remembered.move_to_end(key)
            return _remembered[key]
    made = shapely.union_all(given)
    with _lock:
        _remembered[key] = made
        while len(_remembered) > _MOST:
            _remembered.popitem(last=False)
    return made


@functools.lru_cache(maxsize=2)
def without(area: Any, taken: Any) -> Any:
    """Take one area away from another as `shapely.difference` does; the last few are remembered."""
    return shapely.difference(area, taken)


SLOW = "slow"  # the one kind of zone that stays open

# A mitre leaves one vertex at a corner of land; beyond this share of the offset it is cut off, so that headlands
# do not close a strait that is wide enough.
_MITRE = 1.1
_TOLERANCE_SHARE = 0.1  # how far a shore may be simplified, as a share of the clearance
_MARGIN_M = 0.001  # beyond the wanted clearance, so that rounding never falls short of it
_FAR_M = 2e7  # beyond any UTM grid; there overlays snap by more than a micrometre
_PASSES = 12
_FEW = 500  # pieces of shore that are too near and can be cut out one by one
_HAIR = 1e-6  # share of the offset by which another one differs that tells whether anything was lost
_HAIRS = 8


def _shore_segments(water: Any) -> Geometries:
    rings = shapely.get_rings(np.asarray(polygon_parts(water), dtype=object))
    if not len(rings):
        return np.empty(0, dtype=object)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    along = np.flatnonzero(ring[1:] == ring[:-1])
    return np.asarray(shapely.linestrings(np.stack([xy[along], xy[along + 1]], axis=1)), dtype=object)


def sound(geometry: Any) -> tuple[Any, bool]:
    """Return the area of a geometry as valid polygons, and whether it had to be repaired."""
    if geometry is None:
        return shapely.MultiPolygon(), False
    repaired = not is_valid(geometry)
    if repaired:
        geometry = shapely.make_valid(geometry)
    parts = polygon_parts(geometry)
    if len(parts) == 1:
        return parts[0], repaired
    if repaired:
        return shapely.union_all(parts), repaired
    return shapely.MultiPolygon(parts), repaired


def _strays(inner: Any, water: Any) -> bool:
    """Whether an area whose edge does not cross the water's holds something that is not water."""
    parts = np.asarray(polygon_parts(inner), dtype=object)
    # The edges do not cross; so one point of each ring tells whether the whole ring lies where it should.
    water = shapely.force_2d(water)  # a copy: what is prepared is for one thread alone
    shapely.prepare(water)
    inside = shapely.get_coordinates(shapely.point_on_surface(parts))
    if not np.all(shapely.intersects_xy(water, inside)):
        return True
    rings = shapely.get_rings(np.asarray(polygon_parts(water), dtype=object))
    return bool(len(shapely.STRtree(parts).query(shapely.get_point(rings, 0), predicate="intersects")[0]))


def _too_near(inner: Any, tree: shapely.STRtree, clearance_m: float) -> tuple[float, Geometries]:
    """Least distance of an area's edge to a shore, and the pieces of shore nearer than the clearance."""
    segments = _shore_segments(inner)
    if not len(segments):
        return np.inf, np.empty(0, dtype=object)
    near, at = tree.query(segments, predicate="dwithin", distance=clearance_m)
    distance = shapely.distance(segments[near], tree.geometries[at])
    wrong = distance < clearance_m
    return float(np.min(distance[wrong], initial=np.inf)), tree.geometries[np.unique(at[wrong])]


def _mitred(area: Any, offset_m: float) -> Any:
    return sound(shapely.buffer(area, -offset_m, join_style="mitre", mitre_limit=_MITRE))[0]


def _inward(area: Any, offset_m: float) -> Any:
    """Offset an area inwards with cut mitres, and lose none of its basins.

    Where straits close, GEOS at times leaves out whole basins; not so at an offset a hair wider. An edge moves by no
    more than a cut mitre; so of two such areas that differ by more than their edges can have moved, one has lost some.
    """
    kept = _mitred(area, offset_m)
    edge_m = shapely.length(area)
    for times in range(1, _HAIRS + 1):
        other = _mitred(area, offset_m * (1.0 + times * _HAIR))
        edges_m = max(edge_m, shapely.length(kept), shapely.length(other))
        moved_m2 = 2.0 * _MITRE * times * _HAIR * offset_m * edges_m + 1e-9 * shapely.area(area)
        if abs(shapely.area(kept) - shapely.area(other)) <= moved_m2:
            break
        kept = max(kept, other, key=shapely.area)
    return kept


def shrink(water: Any, clearance_m: float, *, tolerance_m: float | None = None) -> Any:
    """Take away all water nearer to the edge than the clearance.

    Parameters
    ----------
    water
        Polygon or MultiPolygon in metres; holes are land or hazards.
    clearance_m
        Distance to keep, 0 or more: half the beam, the error of the position and what is wanted on top.
    tolerance_m
        How far the edge may be simplified before; a tenth of the clearance unless given.

    Returns
    -------
    Every point of it is at least ``clearance_m`` from the edge of ``water``, by measurement; empty where the
    water is nowhere wide enough. It may keep up to about a tenth of the clearance and twice the tolerance more
    than asked, never less.

    Raises
    ------
    UsageError
        The clearance or tolerance is negative or not a number.
    DataError
        The clearance could not be reached, which no valid water should cause.

    Notes
    -----
    Simplified by Douglas and Peucker with its topology kept, then offset inwards with cut mitres. Neither step
    promises a distance, so the true one is measured between all pairs of edges. Where it falls short the water near
    that shore is cut away; where it falls short all over, the offset is enlarged by what is missing; until it holds.
    """
    tolerance = _TOLERANCE_SHARE * clearance_m if tolerance_m is None else tolerance_m
    for name, value in (("clearance", clearance_m), ("tolerance", tolerance)):
        if not (np.isfinite(value) and value >= 0.0):
            raise UsageError(f"{name} is {value}; give a length of 0 m or more")
    area, _ = sound(water)
    if clearance_m == 0.0 or area.is_empty:
        return area
    simple = sound(shapely.simplify(area, tolerance, preserve_topology=True))[0] if tolerance > 0.0 else area
    offset = clearance_m + tolerance + _MARGIN_M
    wanted = clearance_m + _MARGIN_M / 2.0
    tree = shapely.STRtree(_shore_segments(area))
    inner = _inward(simple, offset)
    for _ in range(_PASSES):
        reached, shore = _too_near(inner, tree, wanted)
        if len(shore) > _FEW:
            offset += 1.05 * (wanted - reached) + _MARGIN_M
            inner = _inward(simple, offset)
        elif len(shore):
            # Sixteen-cornered ends lie half a per cent further out, so that their sides keep the distance too.
            near = shapely.buffer(shore, 1.006 * (clearance_m + _MARGIN_M), quad_segs=8)
            inner, _ = sound(shapely.difference(inner, shapely.union_all(near)))
        elif not inner.is_empty and _strays(inner, area):
            inner, _ = sound(shapely.intersection(inner, area))
        else:
            return inner
    raise DataError(
        f"a clearance of {clearance_m:g} m could not be kept (reached {reached:g} m); repair the water with "
        "shapely.make_valid and try again"
    )


def rows_besides(frame: gpd.GeoDataFrame, column: str, value: str) -> Flags:
    """Mark the rows of a layer that do not hold one value in a column.

    Raises
    ------
    DataError
        The column is missing.
    """
    if column not in frame.columns:
        raise DataError(f"column '{column}' is missing; there are {', '.join(map(str, frame.columns))}")
    return np.asarray(frame[column] != value, dtype=bool)


def areas_of(frame: Any) -> list[Any]:
    """List the valid polygons of a layer."""
    if frame is None or len(frame) == 0:
        return []
    return polygon_parts(shapely.make_valid(frame.geometry.to_numpy()))


def kept_out_of(frame: Any, column: str | None = None, besides: str = "") -> list[Any]:
    """List the areas of a layer that must be kept out of, with nothing lost in repair.

    If a column is named, those of rows that hold one value there are left out.

    Raises
    ------
    DataError
        The column is missing.
    """
    if frame is None or len(frame) == 0:
        return []
    shapes = frame.geometry.to_numpy()
    if column is not None:
        shapes = shapes[rows_besides(frame, column, besides)]
    return polygon_parts(np.array([enclosed_either_way(one) for one in shapes], dtype=object))


def closed_zones(zones: Any) -> list[Any]:
    """List the polygons of zones no motor boat may enter; a zone of a kind unknown is taken for one."""
    return kept_out_of(zones, "zone", SLOW)


def thin_water(hazards: Any) -> list[Any]:
    """List the polygons of hazards to a boat even at idle; one of a care unknown is taken for one."""
    return kept_out_of(hazards, "care", "run")


def _far(area: Any, others: list[Any]) -> Floats:
    """Where the origin must be put so that overlays of far coordinates keep micrometres; nought for nearer ones."""
    box = shapely.total_bounds(np.asarray([area, *others], dtype=object))
    return origin_of(area) if np.isfinite(box).all() and np.abs(box).max() > _FAR_M else np.zeros(2)


def _cut_from(inner: Any, taken: list[Any], clearance_m: float) -> Any:
    """Cut away what is nearer than the clearance to the areas taken, as they were given.

    An overlay may drop a sliver, so its result alone does not tell that the sliver is kept clear of.
    """
    edges = _shore_segments(shapely.geometrycollections(taken)) if taken else np.empty(0, dtype=object)
    if not len(edges) or shapely.is_empty(inner):
        return inner
    _, near = _too_near(inner, shapely.STRtree(edges), clearance_m)
    if not len(near):
        return inner
    wide = shapely.buffer(near, 1.006 * (clearance_m + _MARGIN_M), quad_segs=8)
    return sound(shapely.difference(inner, shapely.union_all(wide)))[0]


def safe_waters(
    water: gpd.GeoDataFrame,
    hazards: gpd.GeoDataFrame | None = None,
    zones: gpd.GeoDataFrame | None = None,
    *,
    clearance_m: float,
    run_clearance_m: float | None = None,
) -> tuple[Any, Any]:
    """Find the water a boat may run on and the water it may idle on.

    Parameters
    ----------
    water
        Layer ``water``: today's water.
    hazards
        Layer ``shallow_hazards`` with ``care`` (``run``, ``idle``), or None.
    zones
        Layer ``zones`` with ``zone``, or None. ``no_entry`` and ``no_motor`` are closed to both; ``slow`` stays.
    clearance_m
        Distance to keep from land, hazards and closed zones, in metres.
    run_clearance_m
        The same while running; ``clearance_m`` unless given.

    Returns
    -------
    running, idling
        Polygon or MultiPolygon each, possibly empty; running water lies wholly in idling water.
    """
    given = water.geometry.to_numpy()
    if not all(one is None or is_valid(one) for one in given):
        note("the water has invalid polygons; they were repaired, check its edge", stacklevel=2)
    area = union_of(areas_of(water))
    thin, hazardous = thin_water(hazards), kept_out_of(hazards)
    closed = [*thin, *closed_zones(zones)]
    origin = _far(area, [*closed, *hazardous])
    if origin.any():
        area = moved(area, -origin)
        closed, hazardous = ([moved(one, -origin) for one in some] for some in (closed, hazardous))
    idle_area = without(area, union_of(closed)) if closed else area
    run_clearance = clearance_m if run_clearance_m is None else run_clearance_m

    def back(one: Any) -> Any:
        return sound(moved(one, origin))[0] if origin.any() else one

    def to_idle() -> Any:
        return _cut_from(shrink(idle_area, clearance_m), closed, clearance_m)

    if len(thin) == len(hazardous) and run_clearance == clearance_m:
        idling = back(to_idle())
        return idling, idling

    def to_run() -> Any:
        run_area = shapely.difference(idle_area, union_of(hazardous)) if hazardous else idle_area
        return _cut_from(shrink(run_area, run_clearance), [*closed, *hazardous], run_clearance)

    running, idling = side_by_side(to_run, to_idle)
    running = sound(shapely.intersection(running, idling))[0]
    return back(running), back(idling)


@dataclass(frozen=True, eq=False)
class LakeToday:
    """Layers ``water``, ``shallow_hazards`` and ``zones``, the clearance kept at idle, and today's depths if known."""

    water: gpd.GeoDataFrame
    hazards: gpd.GeoDataFrame | None
    zones: gpd.GeoDataFrame | None
    clearance_m: float
    today: DepthSurface | None = None

    def needed_m(self) -> float:
        """Depth this boat needs at idle, margin and errors counted; 0 where the hazards don't tell."""
        if self.hazards is None or "needed_depth_m" not in self.hazards.columns:
            return 0.0
        idle = self.hazards.loc[self.hazards["care"] != "run", "needed_depth_m"].to_numpy(dtype=float)
        return float(np.nanmax(idle)) if np.isfinite(idle).any() else 0.0

    def area(self) -> Any:
        """Today's water."""
        return union_of(areas_of(self.water))

    def thin(self) -> Any:
        """Water too thin even to idle."""
        return union_of(thin_water(self.hazards))

    def closed(self) -> Any:
        """Zones no motor boat may enter."""
        return union_of(closed_zones(self.zones))
