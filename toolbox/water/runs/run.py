"""A run from ramp to ramp: the pieces of way in it, and what each piece is like."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from ...arrays import Floats, Ints
from ..level.least_depth import least_depth_along
from ..ways.alongside import Alongside, passed_nearest
from ..ways.rounding import round_corners
from ..ways.safe_water import areas_of

if TYPE_CHECKING:
    import geopandas as gpd

    from ...depth import DepthSurface
    from ..ways.alongside import Edges
    from ..ways.passages import Passages

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
