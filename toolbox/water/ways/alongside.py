"""What a piece of way passes nearest to: how far off, on which side, and how far along."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from ...arrays import Floats, Geometries
from .mesh import polygon_parts
from .safe_water import SLOW, areas_of, rows_besides, union_of

if TYPE_CHECKING:
    import geopandas as gpd


SIDES = ("ahead", "starboard", "astern", "port")


@dataclass(frozen=True, eq=False)
class Edges:
    """Edges that a boat keeps clear of, as segments, each with what it is the edge of."""

    segments: Geometries
    names: Geometries


@dataclass(frozen=True, eq=False)
class Alongside:
    """What each of some lines passes nearest to, seen by a boat that follows it."""

    distance_m: Floats  # distance; NaN where there is nothing to pass
    name: Geometries  # what it is; empty where there is nothing
    # ``port`` or ``starboard``; ``ahead`` or ``astern`` within an eighth of a circle of the bow or the
    # stern
    side: Geometries
    along_m: Floats  # how far along the line the boat is nearest to it


def _named(frame: gpd.GeoDataFrame | None, usual: str) -> Geometries:
    """Tell what each row of a layer is called: by its reason, where it has one."""
    if frame is None:
        return np.empty(0, dtype=object)
    words = frame["reason"] if "reason" in frame.columns else [""] * len(frame)
    called = [word.strip() if isinstance(word, str) and word.strip() else usual for word in words]
    return np.array([*called, ""], dtype=object)[:-1]


def _parts(
    frame: gpd.GeoDataFrame | None, usual: str, column: str | None = None, besides: str = ""
) -> tuple[Geometries, Geometries]:
    """List the polygons of a layer, but for rows that hold one value in a column, and what each is called."""
    names = _named(frame, usual)
    if frame is None or not len(frame):
        return np.empty(0, dtype=object), names
    if column is not None:
        counts = rows_besides(frame, column, besides)
        frame, names = frame[counts], names[counts]
    found = [polygon_parts(one) for one in shapely.make_valid(frame.geometry.to_numpy())]
    parts = np.array([*(part for own in found for part in own), None], dtype=object)[:-1]
    return parts, np.repeat(names, [len(own) for own in found])


def edges_to_keep_from(
    water: gpd.GeoDataFrame,
    hazards: gpd.GeoDataFrame | None,
    zones: gpd.GeoDataFrame | None,
    *,
    running: bool,
) -> Edges:
    """List all that a boat keeps clear of.

    Parameters
    ----------
    water, hazards, zones
        Layers ``water``, ``shallow_hazards`` and ``zones``, the latter two or None.
    running
        Whether the boat runs on plane; hazards of care ``run`` count only then.

    Returns
    -------
    The water's edge, the hazards that count, and the closed zones.
    """
    thin_only = {} if running else {"column": "care", "besides": "run"}
    shore: Geometries = np.array([union_of(areas_of(water)), None], dtype=object)[:-1]
    groups = [
        (shore, np.array(["shore"], dtype=object)),
        _parts(hazards, "shallow hazard", **thin_only),
        _parts(zones, "closed zone", "zone", SLOW),
    ]
    words = np.concatenate([names for _, names in groups])
    pieces, piece = shapely.get_parts(np.concatenate([parts for parts, _ in groups]), return_index=True)
    rings, owner = shapely.get_rings(pieces, return_index=True)
    if not len(rings):
        return Edges(np.empty(0, dtype=object), np.empty(0, dtype=object))
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    along = np.flatnonzero(ring[1:] == ring[:-1])
    segments = shapely.linestrings(np.stack([xy[along], xy[along + 1]], axis=1))
    return Edges(np.asarray(segments, dtype=object), words[piece[owner[ring[along]]]])


def _heading(lines: Geometries, along_m: Floats) -> Floats:
    """Direction (n, 2) of each line about a place on it; at a corner the mean of both."""
    length = np.asarray(shapely.length(lines))
    reach = np.minimum(1.0, length / 4.0)
    back = shapely.line_interpolate_point(lines, np.maximum(along_m - reach, 0.0))
    onward = shapely.line_interpolate_point(lines, np.minimum(along_m + reach, length))
    return np.asarray(shapely.get_coordinates(onward) - shapely.get_coordinates(back))


def passed_nearest(lines: Geometries, edges: Edges) -> Alongside:
    """Find what lines pass nearest to.

    Parameters
    ----------
    lines
        LineStrings, each in the direction the boat takes.
    edges
        From `edges_to_keep_from`.

    Returns
    -------
    Distances are exact for the geometry given.
    """
    count = len(lines)
    found = Alongside(
        np.full(count, np.nan), np.full(count, "", object), np.full(count, "", object), np.full(count, np.nan)
    )
    if not count or not len(edges.segments):
        return found
    (at, edge), distance = shapely.STRtree(edges.segments).query_nearest(
        lines, return_distance=True, all_matches=False
    )
    link = shapely.shortest_line(lines[at], edges.segments[edge])
    ends = shapely.get_coordinates(link).reshape(-1, 2, 2)
    along = np.asarray(shapely.line_locate_point(lines[at], shapely.points(ends[:, 0])))
    way, off = _heading(lines[at], along), ends[:, 1] - ends[:, 0]
    # Clockwise from the bow, in quarters centred on bow, beam, stern and beam.
    angle = np.arctan2(way[:, 1] * off[:, 0] - way[:, 0] * off[:, 1], np.sum(way * off, axis=1))
    quarter = np.round(angle / (np.pi / 2.0)).astype(int) % 4
    found.distance_m[at] = distance
    found.name[at] = edges.names[edge]
    found.side[at] = np.array(SIDES, dtype=object)[quarter]
    found.along_m[at] = along
    return found
