"""A run with few turns, for a small device: corners in place of arcs, as far clear of everything as the legs.

A shortest way rounds a hazard on an arc of many short chords. A device follows few points far apart better, so the
arc becomes the corner in which the straights before and after it meet, or a point a little outside it, wherever the
straight lines keep the same clearance. It is the drawing of the run that changes, not the run.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import geopandas as gpd
import numpy as np
import shapely

from ...lon_lat import ROUTE_BOW_M, bow_m

if TYPE_CHECKING:
    from ...arrays import Flags, Floats
    from ..ways.alongside import Edges

SHORT_M: Final = 30.0
"""A hop shorter than this is taken only where the water leaves no other."""

_AHEAD: Final = 10  # corners of a way that one straight may replace
_OFF_M: Final = 45.0  # how far the straight may run beside them: beyond lies other water
_CORNER_M: Final = 200.0  # how far off the arc its corner may lie
_OUTWARD_M: Final = (4.0, 10.0, 25.0)
_SHORT_COST: Final = 1.5
_METRE_COST: Final = 1e-4  # of two with as many turns the shorter one
_PIECE_M: Final = 150.0
_ROOM_M: Final = 0.02  # so much clearer than asked: degrees are written to a centimetre


def _corner(a: Floats, b: Floats, c: Floats, d: Floats) -> Floats | None:
    """Find where the straight from a over b meets the one that comes from c to d, ahead of b and before c."""
    there, here = b - a, d - c
    across = there[0] * here[1] - there[1] * here[0]
    if abs(across) <= 1e-9 * float(np.hypot(*there) * np.hypot(*here)):
        return None
    gap = c - a
    ahead = (gap[0] * here[1] - gap[1] * here[0]) / across
    before = (gap[0] * there[1] - gap[1] * there[0]) / across
    if ahead < 1.0 or before > 0.0:
        return None
    met: Floats = a + ahead * there
    near = max(float(np.hypot(*(met - b))), float(np.hypot(*(met - c)))) < _CORNER_M
    return met if near else None


def _places(xy: Floats) -> tuple[Floats, Floats]:
    """List places the route may turn at, and how far along the way each stands, counted in corners of it."""
    count = len(xy)
    found = [(float(k), xy[k]) for k in range(count)]
    way = np.diff(xy, axis=0)
    way = way / np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    for k in range(1, count - 1):
        out = way[k - 1] - way[k]
        size = float(np.hypot(*out))
        if size > 1e-6:
            found += [(float(k), xy[k] + far * out / size) for far in _OUTWARD_M]
    for i in range(count - 1):
        for j in range(i + 2, min(count - 1, i + _AHEAD)):
            met = _corner(xy[i], xy[i + 1], xy[j], xy[j + 1])
            if met is not None:
                found.append(((i + 1 + j) / 2.0, met))
    found.sort(key=lambda one: one[0])
    return np.array([place for _, place in found]), np.array([rank for rank, _ in found])


def _beside_m(xy: Floats, start: Floats, end: Floats, first: Floats, last: Floats) -> Floats:
    """Tell how far corners of the way lie off straights that pass them by, (n,)."""
    along = end - start
    size = np.maximum(np.hypot(*along.T), 1e-9)
    far = np.zeros(len(start))
    for k, corner in enumerate(xy):
        passed = (first < k) & (k < last)
        off = np.abs(along[:, 0] * (corner[1] - start[:, 1]) - along[:, 1] * (corner[0] - start[:, 0])) / size
        far = np.where(passed, np.maximum(far, off), far)
    return far


def _clear(start: Floats, end: Floats, near: shapely.STRtree, clearance_m: Floats) -> Flags:
    """Tell which straights keep clear; cut into pieces, whose boxes hold few edges where a long one's hold most."""
    count = np.maximum(np.ceil(np.hypot(*(end - start).T) / _PIECE_M), 1).astype(int)
    of = np.repeat(np.arange(len(start)), count)
    order = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    ends = [start[of] + ((order + more) / count[of])[:, None] * (end - start)[of] for more in (0, 1)]
    pieces = shapely.linestrings(np.stack(ends, axis=1))
    clear = np.ones(len(start), dtype=bool)
    clear[of[np.unique(near.query(pieces, predicate="dwithin", distance=clearance_m[of])[0])]] = False
    return clear


def thinned(xy: Floats, near: shapely.STRtree, clearance_m: float, crs: Any) -> Floats:
    """Give a way with as few turns as keep the clearance; the way itself where none do.

    Parameters
    ----------
    xy
        Corners of the way (n, 2).
    near
        Edges to keep clear of.
    clearance_m
        How far.
    crs
        Projected system of them: drawn straight in degrees, as devices do, a long straight bows out a little, and
        keeps so much clearer.

    Returns
    -------
    Corners (m, 2), m at most n, with the same ends.
    """
    if len(xy) < 3:
        return xy
    at, rank = _places(xy)
    a, b = np.nonzero((rank[None, :] > rank[:, None]) & (rank[None, :] - rank[:, None] <= _AHEAD))
    close = _beside_m(xy, at[a], at[b], rank[a], rank[b]) <= _OFF_M
    a, b = a[close], b[close]
    ends = np.stack([at[a], at[b]], axis=1)
    bow = np.fmin(bow_m(ends, crs), ROUTE_BOW_M)
    clear = _clear(at[a], at[b], near, clearance_m + bow)
    a, b = a[clear], b[clear]
    length = np.hypot(*(at[a] - at[b]).T)
    cost = 1.0 + np.where(length < SHORT_M, _SHORT_COST, 0.0) + _METRE_COST * length
    best, before = np.full(len(at), np.inf), np.full(len(at), -1)
    best[0] = 0.0
    for edge in np.argsort(b, kind="stable").tolist():
        by = best[a[edge]] + cost[edge]
        if by < best[b[edge]]:
            best[b[edge]], before[b[edge]] = by, a[edge]
    if not np.isfinite(best[-1]):
        return xy
    way = [len(at) - 1]
    while way[-1] > 0:
        way.append(int(before[way[-1]]))
    found: Floats = at[way[::-1]]
    return found if len(found) <= len(xy) else xy


def thinned_route(
    legs: gpd.GeoDataFrame,
    running: Edges,
    idling: Edges,
    *,
    run_clearance_m: float,
    idle_clearance_m: float,
) -> gpd.GeoDataFrame:
    """Draw a run with few turns.

    Parameters
    ----------
    legs
        Layer of the run, its pieces in order.
    running, idling
        What the boat keeps clear of on plane and at idle.
    run_clearance_m, idle_clearance_m
        How far, from the middle of the boat.

    Returns
    -------
    A row for each piece: ``leg_no``, ``part``, ``from_id``, ``to_id``, ``turns`` within it, ``distance_m``. A launch
    stays as it is. What it is worth tells the same proof as that of the legs.
    """
    trees = {"run": shapely.STRtree(running.segments), "idle": shapely.STRtree(idling.segments)}
    keep = {"run": run_clearance_m + _ROOM_M, "idle": idle_clearance_m + _ROOM_M}
    shapes = []
    for part, line in zip(legs["part"].astype(str), legs.geometry, strict=True):
        xy = shapely.get_coordinates(line)
        shapes.append(
            shapely.LineString(thinned(xy, trees[part], keep[part], legs.crs) if part in trees else xy)
        )
    lines = np.array([*shapes, None], dtype=object)[:-1]
    return as_route(legs.set_geometry(lines, crs=legs.crs))


def as_route(legs: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Give legs the columns of a route."""
    lines = legs.geometry.to_numpy()
    columns = {name: legs[name].to_numpy() for name in ("leg_no", "part", "from_id", "to_id")}
    columns |= {
        "turns": np.maximum(shapely.get_num_coordinates(lines) - 2, 0),
        "distance_m": shapely.length(lines),
    }
    return gpd.GeoDataFrame(columns, geometry=lines, crs=legs.crs)
