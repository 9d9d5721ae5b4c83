"""Made waters, and the slow, plain way to find shortest ways on them: every line of sight tested by shapely."""

from __future__ import annotations

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra


def ragged_water(seed, corners=40, islands=5, size_m=1000.0, grid_m=None):
    """A ragged star-shaped shore minus ragged islands; coarse grids make ties, straight runs and touching points."""
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0.0, 2.0 * np.pi, corners))
    radius = size_m * (0.35 + 0.65 * rng.random(corners))
    water = shapely.Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])).buffer(0)
    for _ in range(islands):
        k = int(rng.integers(3, 9))
        middle = rng.uniform(-size_m / 2.0, size_m / 2.0, 2)
        angle = np.sort(rng.uniform(0.0, 2.0 * np.pi, k))
        radius = size_m * rng.uniform(0.03, 0.25) * (0.3 + 0.7 * rng.random(k))
        ring = middle + np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
        water = water.difference(shapely.Polygon(ring).buffer(0))
    return _areas(shapely.set_precision(water, grid_m) if grid_m else water)


def narrows(seed, walls=6, size_m=1000.0):
    """A basin crossed by walls, each with one or two straits a few centimetres to some metres wide."""
    rng = np.random.default_rng(seed)
    water = shapely.box(0.0, 0.0, size_m, size_m)
    for wall in range(walls):
        x = size_m * (wall + 1) / (walls + 1)
        lean = rng.uniform(-0.4, 0.4) * size_m / (walls + 1)
        land = shapely.Polygon(
            [(x - 5, -1), (x + 5, -1), (x + lean + 9, size_m + 1), (x + lean - 9, size_m + 1)]
        )
        for _ in range(int(rng.integers(1, 3))):
            y, width = rng.uniform(0.05, 0.95) * size_m, 10.0 ** rng.uniform(-1.5, 1.0)
            tilt = rng.uniform(-30.0, 30.0)
            gap = shapely.Polygon(
                [(-1, y), (size_m + 1, y + tilt), (size_m + 1, y + tilt + width), (-1, y + width)]
            )
            land = land.difference(gap)
        water = water.difference(land)
    return _areas(water)


def _areas(geometry):
    parts = [g for g in shapely.get_parts(geometry) if g.geom_type == "Polygon" and not g.is_empty]
    return shapely.union_all(parts) if len(parts) != 1 else parts[0]


def points_on(water, count, seed):
    """Points anywhere on the water, then on corners, on edges, and one twice."""
    rng = np.random.default_rng(seed)
    west, south, east, north = water.bounds
    shapely.prepare(water)
    found = np.empty((0, 2))
    while len(found) < count:
        tried = rng.uniform((west, south), (east, north), (4 * count, 2))
        found = np.concatenate([found, tried[shapely.intersects_xy(water, tried)]])
    shore = shapely.get_coordinates(water)
    corners = shore[rng.integers(0, len(shore), 3)]
    middles = (shore[:-1] + shore[1:])[rng.integers(0, len(shore) - 1, 6)] / 2.0
    middles = middles[shapely.intersects_xy(water, middles)]
    return np.concatenate([found[:count], corners, middles[:2], found[:1]])


def touches_itself(water):
    """Whether two stretches of shore meet in a point, which a plain line of sight slips through."""
    rings = shapely.get_rings(shapely.get_parts(water))
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    along = np.flatnonzero(ring[1:] == ring[:-1])
    segments = shapely.linestrings(np.stack([xy[along], xy[along + 1]], axis=1))
    corners = shapely.points(np.unique(xy, axis=0))
    at, _ = shapely.STRtree(segments).query(corners, predicate="intersects")
    return bool((np.bincount(at) > 2).any())


def plain_lengths(water, points):
    """Lengths of the shortest ways by the full visibility graph; wrong where the water touches itself."""
    places, place = np.unique(points, axis=0, return_inverse=True)
    corners = np.unique(shapely.get_coordinates(water), axis=0)
    new = ~(corners[:, None] == places[None]).all(axis=2).any(axis=1)
    xy = np.concatenate([places, corners[new]])
    one, other = np.triu_indices(len(xy), 1)
    lines = shapely.linestrings(np.stack([xy[one], xy[other]], axis=1))
    shapely.prepare(water)
    seen = shapely.covers(water, lines)
    graph = coo_array((shapely.length(lines)[seen], (one[seen], other[seen])), shape=(len(xy), len(xy)))
    length = dijkstra(graph.tocsr(), directed=False, indices=np.arange(len(places)))[:, : len(places)]
    return length[np.ix_(place.ravel(), place.ravel())]


def relative_error(found, wanted):
    """Largest relative difference; infinite where one of both knows a way and the other does not."""
    if not np.array_equal(np.isfinite(found), np.isfinite(wanted)):
        return np.inf
    known = np.isfinite(wanted) & (wanted > 0.0)
    return float(np.max(np.abs(found[known] - wanted[known]) / wanted[known], initial=0.0))


def _displaced(ring, split, rng, share=0.18):
    """Split some segments of a closed ring in the middle, moved sideways by up to a share of their length."""
    step = np.diff(ring, axis=0)
    aside = np.column_stack([-step[:, 1], step[:, 0]]) * rng.uniform(-share, share, (len(step), 1))
    middle = (ring[:-1] + ring[1:]) / 2.0 + aside
    pairs = np.stack([ring[:-1], middle], axis=1).reshape(-1, 2)
    kept = np.column_stack([np.ones(len(step), dtype=bool), split]).ravel()
    return np.concatenate([pairs[kept], ring[:1]])


def rough_lake(water, vertices, seed, islets=60):
    """A real lake made rougher, or plainer, until its shore has about so many vertices, with islets strewn about."""
    rng = np.random.default_rng(seed)
    west, south, east, north = water.bounds
    shapely.prepare(water)
    for _ in range(islets):
        while True:
            middle = rng.uniform((west, south), (east, north))
            if shapely.intersects_xy(water, *middle):
                break
        angle = np.sort(rng.uniform(0.0, 2.0 * np.pi, 9))
        radius = 10.0 ** rng.uniform(0.8, 2.2) * (0.6 + 0.4 * rng.random(9))
        islet = shapely.Polygon(middle + np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))
        water = water.difference(islet.buffer(0))
    # A metre off the shore closes the points in which it touches itself.
    water = _largest(shapely.buffer(water, -1.0, join_style="mitre"))
    tolerance = 1.0
    while shapely.get_num_coordinates(water) > 1.05 * vertices:
        water = _largest(shapely.simplify(water, tolerance))
        tolerance *= 1.15
    while (missing := vertices - shapely.get_num_coordinates(water)) > 0.05 * vertices:
        share = min(1.0, missing / shapely.get_num_coordinates(water))
        rings = [np.asarray(r.coords) for r in (water.exterior, *water.interiors)]
        rings = [_displaced(ring, rng.random(len(ring) - 1) < share, rng) for ring in rings]
        water = _largest(shapely.make_valid(shapely.Polygon(rings[0], rings[1:])))
    return water


def _largest(geometry):
    parts = [geometry]
    while any(hasattr(g, "geoms") for g in parts):
        parts = list(shapely.get_parts(parts))
    return max(parts, key=shapely.area)
