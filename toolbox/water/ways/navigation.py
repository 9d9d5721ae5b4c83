"""Exact shortest ways between all pairs of places on a water."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse.csgraph import dijkstra

from ...arrays import Floats, Ints
from ...errors import DataError, NoSafeWay
from .mesh import triangulate
from .network import Network, connect
from .visibility import Places

if TYPE_CHECKING:
    from collections.abc import Callable

    import networkx as nx

    from .mesh import Mesh


_BATCH = 64  # sources solved together; bounds memory, never the answer


@dataclass(frozen=True, eq=False)
class Way:
    """A shortest way: its corners from first to last point, in metres, and its length."""

    coordinates: Floats
    length_m: float


@dataclass(frozen=True, eq=False)
class Ways:
    """Shortest ways between all pairs of given points."""

    length_m: Floats  # lengths (n, n): symmetric, 0 on the diagonal, inf where no way leads
    _points: Floats
    _place: Ints  # place of each point: points in the same spot share one, -1 off the water
    _network: Network
    _previous: NDArray[np.int32]

    def way(self, i: int, j: int) -> Way:
        """Return the way from point i to point j.

        Raises
        ------
        NoSafeWay
            No way leads there over this water.
        """
        if not np.isfinite(self.length_m[i, j]):
            raise NoSafeWay(f"no way over this water from point {i} to point {j}")
        a, b = int(self._place[i]), int(self._place[j])
        if a == b:
            return Way(self._points[[i, j]], 0.0)
        # Both directions of a pair read the same tree, so that they are the same way.
        first, last = min(a, b), max(a, b)
        nodes = [last]
        while nodes[-1] != first:
            nodes.append(int(self._previous[first, nodes[-1]]))
        coordinates = self._network.xy[nodes if a == last else nodes[::-1]]
        return Way(coordinates, float(self.length_m[i, j]))

    def length_within(self, area: Any) -> Floats:
        """Measure how much of each way lies in an area.

        Parameters
        ----------
        area
            Polygon or MultiPolygon, such as slow zones; None or empty for none.

        Returns
        -------
        Lengths in metres (n, n), inf where no way leads.
        """
        within = np.where(np.isfinite(self.length_m), 0.0, np.inf)
        if area is None or shapely.is_empty(area):
            return within
        count = len(self._previous)
        first, last = np.nonzero(np.triu(np.isfinite(_between(self.length_m, self._place, count)), 1))
        size = len(self._network.xy)
        pair, node = np.arange(len(first)), last
        steps: list[tuple[Ints, Ints]] = []
        while len(pair):  # all ways at once, one edge back towards their first points
            back = self._previous[first[pair], node].astype(np.int64)
            steps.append((pair, np.minimum(back, node) * size + np.maximum(back, node)))
            more = back != first[pair]
            pair, node = pair[more], back[more]
        total = np.zeros(len(first))
        if steps:
            edges, number = np.unique(np.concatenate([edge for _, edge in steps]), return_inverse=True)
            ends = self._network.xy[np.stack([edges // size, edges % size], axis=1)]
            lines = shapely.linestrings(ends)
            shapely.prepare(area)
            share = np.zeros(len(lines))
            touching = np.flatnonzero(shapely.intersects(area, lines))
            share[touching] = shapely.length(shapely.intersection(lines[touching], area))
            np.add.at(total, np.concatenate([rows for rows, _ in steps]), share[number.ravel()])
        places = np.zeros((count, count))
        places[first, last] = places[last, first] = total
        wet = np.flatnonzero(self._place >= 0)
        square = np.ix_(wet, wet)
        within[square] += places[np.ix_(self._place[wet], self._place[wet])]
        return within


def _between(lengths: Floats, place: Ints, count: int) -> Floats:
    """Pick from lengths between points those between places."""
    member = np.zeros(count, dtype=np.int64)
    wet = np.flatnonzero(place >= 0)
    member[place[wet]] = wet
    return lengths[np.ix_(member, member)]


def as_points(xy: Any) -> Floats:
    """Take points as an array (n, 2) of finite numbers.

    Raises
    ------
    DataError
        They are something else.
    """
    points = np.asarray(xy, dtype=np.float64)
    if points.size == 0:
        return np.empty((0, 2))
    if points.ndim != 2 or points.shape[1] != 2 or not np.all(np.isfinite(points)):
        raise DataError(
            f"points are given as {points.shape} numbers; give finite x and y in metres, one row a point"
        )
    return points + 0.0


class SafeWater:
    """A water whose whole area is safe, ready to be asked for shortest ways.

    Build it once with `build`, ask it often. Ways keep to the water's area and its edge; they do not pass through
    points in which two waters, or a water and itself, merely touch.
    """

    def __init__(self, water: Any, mesh: Mesh) -> None:
        self.water = water
        self.mesh = mesh

    @classmethod
    def build(cls, water: Any, *, progress: Callable[[float], object] | None = None) -> SafeWater:
        """Triangulate a water.

        Parameters
        ----------
        water
            Polygon or MultiPolygon in metres, already without hazards and shrunk by the clearance; may be empty.
        progress
            Called with the share of the work just done; the shares add up to 1.

        Raises
        ------
        DataError
            The water is not a valid polygon.
        """
        mesh = triangulate(water)
        if progress is not None:
            progress(1.0)
        return cls(water, mesh)

    @cached_property
    def part_area_m2(self) -> Floats:
        """Area of each connected water, by the numbers `locate` gives."""
        corners = self.mesh.xy[self.mesh.triangles]
        areas = shapely.area(shapely.polygons(corners)) if len(corners) else np.empty(0)
        return np.bincount(self.mesh.part, weights=areas).astype(np.float64)

    @cached_property
    def shore(self) -> tuple[Floats, Ints]:
        """Edge of the water as segments (k, 2, 2), and the connected water each belongs to."""
        half_edge = np.flatnonzero(self.mesh.twin < 0)
        start = self.mesh.triangles.ravel()[half_edge]
        return self.mesh.xy[np.stack([start, self.mesh.after[start]], axis=1)], self.mesh.part[half_edge // 3]

    @cached_property
    def _tree(self) -> shapely.STRtree:
        corners = self.mesh.xy[self.mesh.triangles]
        return shapely.STRtree(np.asarray(shapely.polygons(corners) if len(corners) else [], dtype=object))

    def holding(self, points: Floats) -> tuple[Ints, Ints]:
        """Pairs (point, triangle that holds it), the triangles of a point all of one water."""
        point, triangle = self._tree.query(shapely.points(points), predicate="intersects")
        water = np.full(len(points), np.iinfo(np.int64).max)
        np.minimum.at(water, point, self.mesh.part[triangle])
        same = self.mesh.part[triangle] == water[point]
        return point[same], triangle[same]

    def locate(self, xy: Any) -> Ints:
        """Find the connected water each point lies in, edge included.

        Parameters
        ----------
        xy
            Points (n, 2) in metres.

        Returns
        -------
        Its number; -1 where a point lies in none; the lowest number where waters touch in the point.
        """
        points = as_points(xy)
        found = np.full(len(points), -1, dtype=np.int64)
        point, triangle = self.holding(points)
        found[point] = self.mesh.part[triangle]
        return found

    def _solved(self, points: Floats) -> tuple[Network, Ints]:
        """Make the network for some points; also tell the place of each point in it."""
        point, triangle = self.holding(points)
        place = np.full(len(points), -1, dtype=np.int64)
        wet = np.unique(point)
        places_xy, number = np.unique(points[wet], axis=0, return_inverse=True)
        place[wet] = number.ravel()
        pairs = np.unique(triangle * max(len(places_xy), 1) + place[point])
        triangle, held = pairs // max(len(places_xy), 1), pairs % max(len(places_xy), 1)
        return connect(self.mesh, Places(places_xy, held, triangle)), place

    def ways(self, xy: Any) -> Ways:
        """Find the shortest ways between all pairs of points.

        Parameters
        ----------
        xy
            Points (n, 2) in metres. Points off the water have no way; points in the same spot have one of length 0.

        Returns
        -------
        Lengths of all pairs, and each way on demand.

        Notes
        -----
        The shortest of all ways over the water's area, not an estimate: visibility graph of the corners a taut
        line can bend round, reduced to edges that graze both ends, solved by Dijkstra's algorithm from each point.
        """
        points = as_points(xy)
        network, place = self._solved(points)
        count = int(place.max(initial=-1)) + 1
        graph = network.matrix()
        length = np.full((count, count), np.inf)
        previous = np.empty((count, len(network.xy)), dtype=np.int32)
        for first in range(0, count, _BATCH):
            rows = np.arange(first, min(first + _BATCH, count))
            found, previous[rows] = dijkstra(graph, indices=rows, return_predecessors=True)
            length[rows] = found[:, :count]
        # The upper triangle speaks for both directions.
        lower = np.tril_indices(count, -1)
        length[lower] = length.T[lower]
        result = np.full((len(points), len(points)), np.inf)
        wet = np.flatnonzero(place >= 0)
        result[np.ix_(wet, wet)] = length[np.ix_(place[wet], place[wet])]
        np.fill_diagonal(result, np.where(place >= 0, 0.0, np.inf))
        return Ways(result, points, place, network, previous)

    def graph(self, xy: Any) -> nx.Graph[int]:
        """Offer the network the ways are found in to networkx.

        Parameters
        ----------
        xy
            Points (n, 2) in metres.

        Returns
        -------
        networkx.Graph
            Nodes carry ``x``, ``y`` and ``points`` (numbers of the given points in that spot); edges carry
            ``length_m``. Shortest paths between point nodes are the shortest ways over the water.
        """
        import networkx as nx  # only callers of this method pay for it

        points = as_points(xy)
        network, place = self._solved(points)
        graph: nx.Graph[int] = nx.Graph()
        members: dict[int, list[int]] = {}
        for point, spot in enumerate(place.tolist()):
            members.setdefault(spot, []).append(point)
        for number, (x, y) in enumerate(network.xy.tolist()):
            graph.add_node(number, x=x, y=y, points=tuple(members.get(number, ())))
        graph.add_weighted_edges_from(
            zip(network.one.tolist(), network.other.tolist(), network.length_m.tolist(), strict=True),
            weight="length_m",
        )
        return graph
