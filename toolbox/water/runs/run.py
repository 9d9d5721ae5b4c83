"""A run from ramp to ramp: the pieces of way in it, and what each piece is like.

No way is handed over that comes nearer to the layers as given than the boat keeps clear.

The one check that all makers of ways go through. It shares nothing with how safe water is worked out: distances of
lines to the layers, near an origin of their own so that far coordinates lose no digits.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...arrays import Floats, Ints
from ...enclosed import moved, origin_of
from ...errors import NoSafeWay
from ...units import in_words
from ..level.least_depth import least_depth_along
from ..ways.alongside import Alongside, passed_nearest
from ..ways.rounding import round_corners
from ..ways.safe_water import SLOW, areas_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd

    from ...arrays import Geometries, Indices
    from ...depth import DepthSurface
    from ..ways.alongside import Edges
    from ..ways.passages import Passages
    from .afloat import Afloat

SlowZones = list[tuple[float, Any]]


@dataclass(frozen=True)
class Piece:
    """A piece of a leg: ``part`` is ``run``, ``idle`` or ``launch``; ``origin`` and ``goal`` are rows of stops."""

    leg_no: int
    part: str
    origin: int
    goal: int
    line: Any


@dataclass(frozen=True)
class LegSurroundings:
    """What the pieces of a run are measured against."""

    running: Edges
    idling: Edges
    slow: SlowZones
    depth: DepthSurface | None
    level_m: float
    launching: Edges | None = None
    confidence: DepthSurface | None = None  # how far each depth may be off


def slow_zones(zones: gpd.GeoDataFrame | None, *, unstated_mps: float) -> SlowZones:
    """List the slow zones by speed, the slowest first; where zones overlap the slowest counts."""
    if zones is None:
        return []
    slow = zones[zones["zone"] == "slow"]
    speed = slow["speed_mps"].fillna(unstated_mps).to_numpy(dtype=float)
    found: SlowZones = []
    taken: Any = shapely.Polygon()
    for one in np.unique(speed):
        area = shapely.union_all(areas_of(slow[speed == one]))
        found.append((float(one), shapely.difference(area, taken)))
        taken = shapely.union(taken, area)
    return found


def pieces_of(found: Passages, order: Ints, launches: dict[int, Any]) -> list[Piece]:
    """List the pieces of a run in order.

    Parameters
    ----------
    found
        Ways between all stops.
    order
        Rows of the stops in the order of the run, first and last included.
    launches
        Row of a stop that is a ramp -> line from the ramp to the water, where the two lie apart.
    """
    pieces: list[Piece] = []
    for leg_no, (a, b) in enumerate(pairwise(order.tolist()), start=1):
        lines: list[tuple[str, Any]] = [(part, shapely.linestrings(xy)) for part, xy in found.legs(a, b)]
        if leg_no == 1 and a in launches:
            lines.insert(0, ("launch", launches[a]))
        if leg_no == len(order) - 1 and b in launches:
            lines.append(("launch", shapely.reverse(launches[b])))
        pieces += [Piece(leg_no, part, a, b, line) for part, line in lines if line.length > 0.0]
    return pieces


def rounded(pieces: list[Piece], running: Any, radius_m: float) -> list[Piece]:
    """Round the corners of running pieces to a turning radius, within the water the boat may run on."""
    return [
        replace(
            piece,
            line=shapely.linestrings(
                round_corners(shapely.get_coordinates(piece.line), radius_m, running).coordinates
            ),
        )
        if piece.part == "run"
        else piece
        for piece in pieces
    ]


def least_depths(lines: list[Any], depth: DepthSurface | None, level_m: float) -> Floats:
    """Least of today's depths along each line, exact for the surface; NaN where some of it is not known."""
    least = np.full(len(lines), np.nan)
    if depth is None or not lines:
        return least
    xy, row = shapely.get_coordinates(np.array(lines, dtype=object), return_index=True)
    step = np.flatnonzero(row[1:] == row[:-1])
    a, b = xy[step], xy[step + 1]
    found = least_depth_along(depth, a[:, 0], a[:, 1], b[:, 0], b[:, 1], level_m=level_m)
    least[:] = np.inf
    np.minimum.at(least, row[step], found)  # NaN prevails
    return least


def slow_and_time(
    pieces: list[Piece], slow: SlowZones, *, run_mps: float, idle_mps: float
) -> tuple[Floats, Floats]:
    """Length of each piece within slow zones, and its time: idle and launch at idle, no faster than a zone allows."""
    lines = np.array([piece.line for piece in pieces], dtype=object)
    speed = np.array([run_mps if piece.part == "run" else idle_mps for piece in pieces])
    slow_m, time_s = np.zeros(len(pieces)), np.zeros(len(pieces))
    for zone_mps, area in slow:
        within = np.asarray(shapely.length(shapely.intersection(lines, area)))
        slow_m += within
        time_s += within / np.minimum(speed, zone_mps)
    return slow_m, time_s + (shapely.length(lines) - slow_m).clip(min=0.0) / speed


def nearest_along(pieces: list[Piece], around: LegSurroundings) -> Alongside:
    """Find what each piece passes nearest to of all that counts for it: of a launch, things and closed zones."""
    count = len(pieces)
    found = Alongside(
        np.full(count, np.nan), np.full(count, "", object), np.full(count, "", object), np.full(count, np.nan)
    )
    for part, edges in (("run", around.running), ("idle", around.idling), ("launch", around.launching)):
        if edges is None:
            continue
        rows = np.array([row for row, piece in enumerate(pieces) if piece.part == part], dtype=int)
        own = passed_nearest(np.array([pieces[row].line for row in rows], dtype=object), edges)
        for name in ("distance_m", "name", "side", "along_m"):
            getattr(found, name)[rows] = getattr(own, name)
    return found


_POINT: Final = 0
_POLYGON: Final = 3
FORGIVEN_M: Final = 0.001
"""How much nearer than asked a way may be: nothing but rounding."""


def _geometries(frame: gpd.GeoDataFrame | None, column: str = "", besides: str = "") -> Geometries:
    if frame is None or not len(frame):
        return np.empty(0, dtype=object)
    shapes = frame.geometry.to_numpy()
    kept = np.ones(len(shapes), dtype=bool) if not column else (frame[column] != besides).to_numpy()
    return np.asarray(shapes[kept & ~shapely.is_missing(shapes) & ~shapely.is_empty(shapes)], dtype=object)


def _plain(things: Geometries) -> Geometries:
    """Take collections apart, into points, lines, rings and polygons."""
    while np.any(shapely.get_type_id(things) > _POLYGON):
        things = shapely.get_parts(things)
    return things


def _pieces(lines: Geometries) -> tuple[Geometries, Indices]:
    """Cut lines into pieces of two corners, which a tree finds among thousands; and the line each is of."""
    xy, line = shapely.get_coordinates(lines, return_index=True)
    along = np.flatnonzero(line[1:] == line[:-1])
    return np.asarray(shapely.linestrings(np.stack([xy[along], xy[along + 1]], axis=1))), line[along]


def _least(lines: Geometries, things: Geometries) -> Floats:
    """Measure how near each line comes to the nearest thing: 0 where it is within one."""
    least = np.full(len(lines), np.inf)
    things = _plain(things)
    if not len(things) or not len(lines):
        return least
    kind = shapely.get_type_id(things)
    areas = things[kind == _POLYGON]
    edges = _pieces(
        np.concatenate([things[(kind != _POINT) & (kind != _POLYGON)], shapely.get_rings(areas)])
    )[0]
    parts, of = _pieces(lines)
    # Ways go round the same corners: each piece is measured once, for all ways that share it.
    _, first, same = np.unique(
        shapely.to_wkb(shapely.normalize(parts)), return_index=True, return_inverse=True
    )
    tree = shapely.STRtree(np.concatenate([edges, things[kind == _POINT]]))
    (row, _), gap = tree.query_nearest(parts[first], return_distance=True, all_matches=False)
    nearest = np.full(len(first), np.inf)
    nearest[row] = gap
    np.minimum.at(least, of, nearest[same])
    # What comes to no edge lies within an area as a whole, or outside.
    # The areas are asked, not the points: a query prepares what it is asked with.
    least[shapely.STRtree(shapely.get_point(lines, 0)).query(areas, predicate="intersects")[1]] = 0.0
    return least


def least_clearances(lines: Geometries, *, running: bool, water: Any, hazards: Any, zones: Any) -> Floats:
    """Measure how near lines come to what they keep out of, as the layers have it, and to the water's edge.

    Parameters
    ----------
    lines
        Ways (n,).
    running
        Whether hazards to a boat on plane count as well.
    water, hazards, zones
        Layers of today; the latter two or None.

    Returns
    -------
    Metres (n,); 0 for what enters a hazard or leaves the water.
    """
    sea = _geometries(water)
    origin = origin_of(sea) if len(sea) else np.zeros(2)
    things = np.concatenate(
        [
            _geometries(hazards) if running else _geometries(hazards, "care", "run"),
            _geometries(zones, "zone", SLOW),
        ]
    )
    _, first, same = np.unique(shapely.to_wkb(lines), return_index=True, return_inverse=True)
    near, sea = moved(lines[first], -origin), moved(sea, -origin)
    whole = shapely.union_all(sea)
    # An area counts as a whole, and its edge as well: an edge that crosses itself leaves parts that no area has.
    shore = _plain(np.array([shapely.boundary(whole)], dtype=object))
    least = np.minimum(_least(near, moved(things, -origin)), _least(near, shore))
    shapely.prepare(whole)
    least[~shapely.intersects(whole, near)] = 0.0
    return least[same]


def require_clear(ways: Sequence[tuple[str, Any]], afloat: Afloat) -> None:
    """Refuse ways that come too near to anything.

    Parameters
    ----------
    ways
        Pieces as (part, line); ``launch`` pieces are not looked at, and lines without length neither.
    afloat
        The lake, and what the boat keeps clear.

    Raises
    ------
    NoSafeWay
        A piece is nearer than asked.
    """
    lake, handling = afloat.lake, afloat.handling
    for part, keep_m in (("run", handling.run_clearance_m), ("idle", handling.clearance_m)):
        lines = np.array([line for own, line in ways if own == part and line.length > 0.0], dtype=object)
        if not len(lines):
            continue
        least = least_clearances(
            lines, running=part == "run", water=lake.water, hazards=lake.hazards, zones=lake.zones
        )
        worst = int(np.argmin(least))
        if least[worst] < keep_m - FORGIVEN_M:
            x, y = shapely.get_coordinates(lines[worst])[0]
            raise NoSafeWay(
                f"A way from ({x:.0f}, {y:.0f}) would come within {in_words(float(least[worst]), 'length')} of a "
                f"hazard, a closed zone or the shore, where this boat keeps {in_words(keep_m, 'length')} clear while "
                f"{'running' if part == 'run' else 'idling'}; nothing was written. Look at the layers there for lines "
                "that cross themselves, or ask for a greater clearance."
            )
