"""Which connected water places lie in, told from its polygons alone."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from .mesh import polygon_parts

if TYPE_CHECKING:
    from ...arrays import Ints


class ConnectedWaters:
    """The connected waters of an area: its polygons, for the inside of a valid polygon hangs together.

    Parameters
    ----------
    area
        Valid Polygon or MultiPolygon; may be empty. Polygons that touch in points are waters apart.
    """

    def __init__(self, area: Any) -> None:
        self._parts = np.asarray(polygon_parts(area), dtype=object)
        shapely.prepare(self._parts)
        self._tree = shapely.STRtree(self._parts)

    def locate(self, xy: Any) -> Ints:
        """Find the connected water each of some points lies in, edge included.

        Parameters
        ----------
        xy
            Points (n, 2).

        Returns
        -------
        Its number; -1 where a point lies in none; the lowest number where waters touch in the point.
        """
        given = np.reshape(np.asarray(xy, dtype=np.float64), (-1, 2))
        points = np.asarray(shapely.points(given), dtype=object)
        found = np.full(len(points), np.iinfo(np.int64).max)
        point, part = self._tree.query(points)
        held = shapely.intersects(self._parts[part], points[point])
        np.minimum.at(found, point[held], part[held])
        found[found == np.iinfo(np.int64).max] = -1
        return found
