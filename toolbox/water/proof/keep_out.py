"""Which lines and points come too near to areas they must keep out of, by plain geometry.

Part of the last check. It shares nothing with the search for ways: no mesh, no shrunk water, no simplification, only
distances and overlaps of the geometry as given.

A fault of a run, in words that can be acted on.

Shapes that are not sound, on the safe side: self-crossing rings, rings wound twice, spikes there and back.

Part of the last check. A repair decides what a sick shape means and drops the rest; a boat keeps off all of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...arrays import Floats, Geometries, Indices
from ...units import in_words

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True)
class Violation:
    """One rule that does not hold."""

    what: str  # the leg or hold
    rule: str  # what is wrong with it, in words
    # where, in the reference system of the legs; NaN where it has no place
    x: float = float("nan")
    y: float = float("nan")
    by_m: float = float("nan")  # by how much, in metres; NaN where that has no meaning

    def __str__(self) -> str:
        much = f", by {in_words(self.by_m, 'length')}" if np.isfinite(self.by_m) else ""
        place = f" at {self.x:.1f}, {self.y:.1f}" if np.isfinite(self.x) else ""
        return f"{self.what} {self.rule}{much}{place}"


def _there(frame: Any) -> tuple[Geometries, Indices]:
    if frame is None or not len(frame):
        return np.empty(0, dtype=object), np.empty(0, dtype=np.intp)
    geometry = np.asarray(shapely.force_2d(frame.geometry.to_numpy()), dtype=object)
    return geometry, np.flatnonzero(~(shapely.is_missing(geometry) | shapely.is_empty(geometry)))


def areas_of(frame: Any) -> tuple[Geometries, Indices]:
    """Take the geometries of a layer, repaired where need be, and the rows they are of."""
    geometry, rows = _there(frame)
    return np.asarray(shapely.make_valid(geometry[rows]), dtype=object), rows


def _simple_parts(shape: Any) -> list[Any]:
    parts: list[Any] = shapely.get_parts(shape).tolist()
    if shape.geom_type == "GeometryCollection":
        return [one for part in parts for one in _simple_parts(part)]
    return parts


def _rings(shape: Any) -> list[Any]:
    """Take the rings of a shape, and its lines, as lines."""
    found: list[Any] = []
    for part in _simple_parts(shape):
        if part.geom_type == "Polygon":
            found += [shapely.linestrings(shapely.get_coordinates(one)) for one in shapely.get_rings(part)]
        elif shapely.get_dimensions(part) == 1:
            found.append(part)
    return found


def enclosed(shape: Any) -> list[Any]:
    """Take all that a shape may mean: what its rings enclose, whichever way they are wound, and the rest of their line.

    Returns
    -------
    One area, unless it is empty; lines and points that belong to no area.
    """
    rings = _rings(shape)
    faces: list[Any] = []
    for ring in rings:
        if shapely.get_num_points(ring) > 1 and float(ring.length) > 0.0:
            faces += shapely.get_parts(shapely.polygonize([shapely.node(ring)])).tolist()
    area = shapely.union_all(faces)
    lone = [part for part in _simple_parts(shape) if shapely.get_dimensions(part) == 0]
    for ring in rings:
        if float(ring.length) == 0.0:
            lone.append(shapely.get_point(ring, 0))
        else:
            rest = shapely.difference(ring, area)
            lone += [] if rest.is_empty else [rest]
    return ([] if area.is_empty else [area]) + lone


def all_it_may_mean(frame: Any) -> tuple[Geometries, Indices]:
    """Take what a layer asks to keep out of, on the safe side, and the rows it is of; a row may have several shapes."""
    geometry, rows = _there(frame)
    shapes: list[Any] = []
    owner: list[int] = []
    for row in rows.tolist():
        shape = geometry[row]
        sound = bool(shapely.is_valid(shape)) and shape.geom_type != "GeometryCollection"
        own = [shape] if sound else enclosed(shape)
        shapes += own
        owner += [row] * len(own)
    found = np.empty(len(shapes), dtype=object)
    found[:] = shapes
    return found, np.array(owner, dtype=np.intp)


def _walls(shape: Any) -> list[Any]:
    parts = _simple_parts(shapely.make_valid(shape))
    edges = shapely.union_all([shapely.boundary(part) for part in parts if part.geom_type == "Polygon"])
    inner = [shapely.difference(ring, edges) for ring in _rings(shape)]
    return [one for one in inner if not one.is_empty]


def walls_in(frame: Any) -> list[Any]:
    """Take the lines within the outline of a sick water that enclose nothing: walls that its repair would drop."""
    geometry, rows = _there(frame)
    walls: list[Any] = []
    for row in rows[~shapely.is_valid(geometry[rows])].tolist():
        walls += _walls(geometry[row])
    return walls


_TINY_M = 1e-3

TOLERANCE_M = 1e-6
"""Rounding of coordinates of some thousand kilometres, with room; nothing else is forgiven."""


THIN_CAUSES: Final = ("bottom", "no depth")
"""Causes of a hazard that is water too thin, or of unknown depth, and nothing that lies there."""


@dataclass(frozen=True)
class Breach:
    """A line or point that comes too near to an area."""

    # rows of the line or point and of the area; -1 for the edge of the water
    item: int
    area: int
    # length of a line that lies inside the area, or how far inside a point lies; 0 for what stays outside
    inside_m: float
    gap_m: float  # distance to the area; 0 where it is entered
    # where it is worst
    x: float
    y: float


def edges_of(water: Any) -> Geometries:
    """Take the edge of a water apart into straight pieces."""
    rings = shapely.get_rings(shapely.get_parts(water))
    if not len(rings):
        return np.empty(0, dtype=object)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    along = np.flatnonzero(ring[1:] == ring[:-1])
    return np.asarray(shapely.linestrings(np.stack([xy[along], xy[along + 1]], axis=1)), dtype=object)


def _at(geometries: Geometries) -> Floats:
    return np.asarray(shapely.get_coordinates(shapely.point_on_surface(geometries)).reshape(-1, 2))


def _depth_inside(point: Any, area: Any) -> float:
    """How far inside an area a point lies; 0 on its edge, and for a point on a line."""
    edge = shapely.boundary(area) if shapely.get_dimensions(area) == 2 else area
    return float(shapely.distance(point, edge))


def too_near(items: Geometries, areas: Geometries, keep_m: float) -> list[Breach]:
    """Find items inside areas, or nearer to them than they may be.

    Parameters
    ----------
    items
        Lines or points.
    areas
        Geometries to keep out of; their edge may be touched when ``keep_m`` is 0.
    keep_m
        Distance to keep.

    Returns
    -------
    One for each pair that breaks the rule.
    """
    if not len(items) or not len(areas):
        return []
    tree = shapely.STRtree(areas)
    item, area = tree.query(items, predicate="dwithin", distance=keep_m)
    lines, others = items[item], areas[area]
    gap = shapely.distance(lines, others)
    shared = shapely.intersection(lines, others)
    inside = shapely.length(shared)
    # A point has no length; how far inside it lies is its distance to the edge.
    # Nor has a line of next to none: cut small enough, any way would pass.
    point = np.flatnonzero((shapely.length(lines) <= _TINY_M) & (gap == 0.0))
    inside[point] = [
        _depth_inside(shapely.get_point(a, 0) if shapely.get_dimensions(a) else a, b)
        for a, b in zip(lines[point], others[point], strict=True)
    ]
    # A wall without width has no inside: to meet it is to break the rule.
    wall = (shapely.get_dimensions(others) < 2) & (gap == 0.0)
    bad = np.flatnonzero((inside > TOLERANCE_M) | (gap < keep_m - TOLERANCE_M) | wall)
    if not len(bad):
        return []
    nearest = shapely.get_point(shapely.shortest_line(lines[bad], others[bad]), 0)
    place = _at(np.where(shapely.length(shared[bad]) > 0, shared[bad], nearest))
    return [
        Breach(int(item[k]), int(area[k]), float(inside[k]), float(gap[k]), float(x), float(y))
        for k, (x, y) in zip(bad, place, strict=True)
    ]


def off_water(items: Geometries, water: Any, keep_m: float) -> list[Breach]:
    """Find items that leave a water, or come nearer to its edge than they may.

    Parameters
    ----------
    items
        Lines or points.
    water
        Polygon or MultiPolygon; holes are land.
    keep_m
        Distance to keep from the edge.

    Returns
    -------
    At most one each; ``inside_m`` is the length, or for a point the distance, outside the water.
    """
    if not len(items):
        return []
    shapely.prepare(water)
    beyond = np.flatnonzero(~shapely.covers(water, items))
    outside = shapely.difference(items[beyond], water)
    point = shapely.length(items[beyond]) <= _TINY_M
    away = shapely.distance(items[beyond], water)
    beyond_m = np.where(point, away, shapely.length(outside))
    out = np.flatnonzero(beyond_m > TOLERANCE_M)
    found = [
        Breach(int(beyond[k]), -1, float(beyond_m[k]), 0.0, float(x), float(y))
        for k, (x, y) in zip(out, _at(outside[out]), strict=True)
    ]
    if keep_m <= 0.0:
        return found
    edges = edges_of(water)
    item, edge = shapely.STRtree(edges).query(items, predicate="dwithin", distance=keep_m)
    gap = shapely.distance(items[item], edges[edge])
    done = {breach.item for breach in found}
    for k in np.lexsort((gap, item)):
        number = int(item[k])
        if number in done or gap[k] >= keep_m - TOLERANCE_M:
            continue
        done.add(number)
        x, y = shapely.get_coordinates(shapely.shortest_line(items[number], edges[edge[k]]))[0]
        found.append(Breach(number, -1, 0.0, float(gap[k]), float(x), float(y)))
    return found


def _violation(what: str, thing: str, breach: Breach, keep_m: float) -> Violation:
    if breach.inside_m > TOLERANCE_M:
        rule = "leaves today's water" if breach.area < 0 else f"enters {thing}"
        return Violation(what, rule, breach.x, breach.y, breach.inside_m)
    wanted = f"comes within {in_words(breach.gap_m, 'length')} of {thing}, {in_words(keep_m, 'length')} must be kept"
    return Violation(what, wanted, breach.x, breach.y, keep_m - breach.gap_m)


class OffLimits:
    """What legs and holds keep out of, by the care it asks for.

    Parameters
    ----------
    water, hazards, zones, dry_ground
        Layers of today; None where there is none. On the safe side, a zone with any other word than ``slow`` is closed,
        and a hazard with any other care than ``run`` is one at idle.
    """

    def __init__(self, water: Any, hazards: Any, zones: Any, dry_ground: Any) -> None:
        self.water = shapely.union_all(areas_of(water)[0])
        shapes: list[Geometries] = []
        self.labels: list[str] = []
        run_only: list[bool] = []
        closed: list[bool] = []
        charted: list[bool] = []
        for word, frame, column in (
            ("hazard", hazards, "care"),
            ("zone", zones, "zone"),
            ("dry ground", dry_ground, None),
        ):
            geometry, rows = all_it_may_mean(frame)
            for shape, row in zip(geometry, rows, strict=True):
                kind = "" if column is None else str(frame[column].iloc[row])
                if word == "zone" and kind == "slow":
                    continue
                name = (
                    frame["hazard_id"].iloc[row]
                    if "hazard_id" in frame.columns
                    else f"in row {frame.index[row]}"
                )
                self.labels.append(f"{kind} {word} {name}".strip())
                run_only.append(word == "hazard" and kind == "run")
                closed.append(word == "zone")
                # Where the cause is not told it is taken for a thing that lies there, and no thin bottom.
                told = "cause" in frame.columns and frame["cause"].iloc[row] in THIN_CAUSES
                charted.append(word == "hazard" and kind != "run" and not told)
                shapes.append(shape)
        for wall in walls_in(water):
            self.labels.append("a wall in the outline of the water")
            run_only.append(False)
            closed.append(False)
            charted.append(True)
            shapes.append(wall)
        self.areas = np.empty(len(shapes), dtype=object)
        self.areas[:] = shapes
        self.run_only = np.asarray(run_only, dtype=bool)
        self.closed = np.asarray(closed, dtype=bool)
        self.charted = np.asarray(charted, dtype=bool)

    def _kept_out_of(self, *, running: bool) -> Indices:
        return np.flatnonzero(~self.run_only | running)

    def violations(
        self, items: Geometries, names: Sequence[str], *, running: bool, keep_m: float
    ) -> list[Violation]:
        """Find what some lines or points break.

        Parameters
        ----------
        items, names
            Lines or points, and what to call them.
        running
            Whether hazards to a boat on plane count as well.
        keep_m
            Distance to keep from everything.
        """
        rows = self._kept_out_of(running=running)
        return [
            _violation(names[breach.item], "the water's edge", breach, keep_m)
            for breach in off_water(items, self.water, keep_m)
        ] + [
            _violation(names[breach.item], self.labels[rows[breach.area]], breach, keep_m)
            for breach in too_near(items, self.areas[rows], keep_m)
        ]

    def launch_violations(self, items: Geometries, names: Sequence[str]) -> list[Violation]:
        """Find what enters a closed zone or a charted thing; nothing else is looked at."""
        rows = np.flatnonzero(self.closed | self.charted)
        return [
            _violation(names[breach.item], self.labels[rows[breach.area]], breach, 0.0)
            for breach in too_near(items, self.areas[rows], 0.0)
        ]

    def launch_clearance_m(self, items: Geometries) -> Floats:
        """Measure how near launches come to a closed zone or a charted thing; infinity where there is none."""
        return _nearest_m(items, self.areas[self.closed | self.charted])

    def clearance_m(self, items: Geometries, *, running: bool) -> Floats:
        """Measure how near some lines or points come to anything they keep out of, the edge of the water included."""
        everything = np.concatenate([self.areas[self._kept_out_of(running=running)], edges_of(self.water)])
        return _nearest_m(items, everything)


def _nearest_m(items: Geometries, everything: Geometries) -> Floats:
    found = np.full(len(items), np.inf)
    if len(items) and len(everything):
        (item, _), distance = shapely.STRtree(everything).query_nearest(
            items, return_distance=True, all_matches=False
        )
        found[item] = distance
    return found
