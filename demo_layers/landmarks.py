"""Marks ashore that a boat can line up: points of land, and what people built on the hills round the lake."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import shapely

from castshed.demo_layers import names
from castshed.demo_layers.edges import CRS

if TYPE_CHECKING:
    from castshed.demo_layers.relief import Floats

_STEP_M = 25.0  # along the shore
_ROUND_M = 130.0  # circle in which land and water are compared
_POINT_SHARE = 0.36  # share of land round the tip of a point
_APART_M = 420.0
_SMALL = (
    (10.0, 90.0), (5.0, 12.0), (6.0, 60.0), (11.0, 40.0), (17.0, 80.0), (14.0, 60.0), (20.0, 50.0), (9.0, 70.0),
    (7.0, 10.0), (3.0, 8.0),
)  # fmt: skip
"""Height, and greatest distance from the water, of each of `names.SMALL_MARKS`."""


def _points_of_land(lake: shapely.Polygon, count: int) -> Floats:
    """Find the tips of the slenderest points of land, well apart."""
    edge = lake.exterior
    tip = shapely.line_interpolate_point(edge, np.arange(0.0, edge.length, _STEP_M))
    rounds = shapely.buffer(tip, _ROUND_M, quad_segs=6)
    land = 1.0 - shapely.area(shapely.intersection(rounds, shapely.simplify(lake, 5.0))) / shapely.area(
        rounds
    )
    found: list[int] = []
    for at in np.argsort(land, kind="stable"):
        if land[at] > _POINT_SHARE or len(found) == count:
            break
        if not found or float(shapely.distance(tip[found], tip[at]).min()) > _APART_M:
            found.append(int(at))
    return np.asarray(shapely.get_coordinates(tip[found]), dtype=np.float64)


def _ashore(
    rng: np.random.Generator,
    lake: shapely.Polygon,
    off_m: tuple[float, float],
    taken: list[Floats],
    apart_m: float,
) -> Floats:
    """Pick a place on the land, between two distances from the water and away from those taken; noted as taken."""
    west, south, east, north = lake.bounds
    for _ in range(40000):
        at = np.array([rng.uniform(west, east), rng.uniform(south, north)])
        off = float(shapely.distance(lake, shapely.Point(at)))
        if off_m[0] <= off <= off_m[1] and all(float(np.hypot(*(at - other))) > apart_m for other in taken):
            taken.append(at)
            return at
    raise RuntimeError("No place left ashore that fits: take another seed.")


def make_landmarks(rng: np.random.Generator, lake: shapely.Polygon) -> gpd.GeoDataFrame:
    """Put marks round a lake.

    Parameters
    ----------
    rng
        Decides where they stand.
    lake
        The water; islands are holes.

    Returns
    -------
    Points with `landmark_id`, `name`, `kind`, `height_m` above ground and `position_error_m`.
    """
    points = _points_of_land(lake, len(names.LANDMARKS["point_of_land"]))
    taken = list(points)
    rows = [
        ("point_of_land", name, 0.0, 8.0, at)
        for name, at in zip(names.LANDMARKS["point_of_land"], points, strict=False)
    ]
    for kind, height, least_m, most_m, error_m in (
        ("water_tower", 38.0, 250.0, 1200.0, 2.0),
        ("radio_mast", 60.0, 400.0, 1600.0, 2.0),
        ("steeple", 24.0, 120.0, 700.0, 2.0),
        ("silo", 19.0, 60.0, 500.0, 2.0),
        ("chimney", 22.0, 40.0, 300.0, 2.0),
    ):
        rows += [
            (kind, name, height, error_m, _ashore(rng, lake, (least_m, most_m), taken, _APART_M))
            for name in names.LANDMARKS[kind]
        ]
    for thing, (height, most_m) in zip(names.SMALL_MARKS, _SMALL, strict=True):
        rows += [
            (
                thing.replace(" ", "_"),
                f"{look} {thing}",
                height,
                3.0,
                _ashore(rng, lake, (2.0, most_m), taken, 90.0),
            )
            for look in names.LOOKS
        ]
    kinds, called, heights, errors, at = zip(*rows, strict=True)
    return gpd.GeoDataFrame(
        {
            "landmark_id": [f"lm-{number:03d}" for number in range(1, len(rows) + 1)],
            "name": list(called),
            "kind": list(kinds),
            "height_m": list(heights),
            "position_error_m": list(errors),
        },
        geometry=shapely.points(np.round(np.array(at), 1)),
        crs=CRS,
    )
