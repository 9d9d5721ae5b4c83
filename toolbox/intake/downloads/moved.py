"""Features brought into another reference system, and cut to a box first where that saves work."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from ...same_system import same_crs

if TYPE_CHECKING:
    from ...arrays import Geometries


def moved(shapes: Geometries, source: Any, target: Any) -> Geometries:
    """Bring shapes from one system into another, two coordinates each; what has no place there becomes None."""
    import pyproj

    flat = shapely.force_2d(np.asarray(shapes, dtype=object))
    if same_crs(pyproj.CRS.from_user_input(source), pyproj.CRS.from_user_input(target)):
        return flat
    go = pyproj.Transformer.from_crs(source, target, always_xy=True)

    def step(xy: Any) -> Any:
        x, y = go.transform(xy[:, 0], xy[:, 1])
        return np.column_stack([x, y])

    made: Geometries = shapely.transform(flat, step)
    xy, owner = shapely.get_coordinates(made, return_index=True)
    lost = np.unique(owner[~np.isfinite(xy).all(axis=1)])
    if len(lost):
        made = made.copy()
        made[lost] = None
    return made


def sample_of(shapes: Geometries, most: int = 20_000) -> Geometries:
    """Give corners of shapes as points, spread over all of them, at most so many."""
    xy = shapely.get_coordinates(shapes)
    found: Geometries = np.asarray(shapely.points(xy[:: max(1, len(xy) // most)]), dtype=object)
    return found
