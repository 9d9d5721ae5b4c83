"""Connected waters told from polygons are those of the mesh; unions worked once are those of the library."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from castshed.toolbox.water.holds.surroundings import Surroundings
from castshed.toolbox.water.ways import safe_water as unions
from castshed.toolbox.water.ways.navigation import SafeWater
from castshed.toolbox.water.ways.reasons import ConnectedWaters
from castshed.toolbox.water.ways.safe_water import union_of
from made_waters import points_on, ragged_water


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_waters_are_those_of_the_mesh(seed):
    near = ragged_water(seed, 60, 6)
    west, _, east, _ = near.bounds
    beyond = np.array([2.0 * (east - west), 0.0])
    far = shapely.transform(ragged_water(seed + 9, 40, 3), lambda xy: xy + beyond)
    water = shapely.union_all([near, far])
    assert water.is_valid
    xy = np.concatenate(
        [points_on(part, 40, seed) for part in (near, far)]
        + [shapely.get_coordinates(water)[::7], [[west - 5.0, 0.0]]]
    )
    found, wanted = ConnectedWaters(water).locate(xy), SafeWater.build(water).locate(xy)
    assert np.array_equal(found < 0, wanted < 0)
    assert found[-1] == -1
    assert np.array_equal(found[:, None] == found[None], wanted[:, None] == wanted[None])
    assert len(np.unique(found)) >= 3


def test_waters_that_touch_in_a_point_are_apart_and_none_holds_nothing():
    water = shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(1, 1, 2, 2)])
    assert ConnectedWaters(water).locate([(0.5, 0.5), (1.5, 1.5), (1, 1), (5, 5)]).tolist() == [0, 1, 0, -1]
    assert ConnectedWaters(shapely.Polygon()).locate([(0.5, 0.5)]).tolist() == [-1]
    assert ConnectedWaters(water).locate(np.empty((0, 2))).tolist() == []


def test_a_union_is_the_library_s_to_the_bit_and_is_worked_once(monkeypatch):
    areas = [ragged_water(4, 50, 4), shapely.box(0, 0, 300, 200), None]
    wanted = shapely.to_wkb(shapely.union_all(areas))
    assert shapely.to_wkb(union_of(areas)) == wanted
    moved = [shapely.box(0, 0, np.nextafter(300.0, 400.0), 200)]
    monkeypatch.setattr(unions.shapely, "union_all", lambda given: ("worked", len(given)))
    assert shapely.to_wkb(union_of(np.array(areas, dtype=object))) == wanted
    assert union_of([*areas[:1], *moved, None]) == ("worked", 3)
    assert union_of(areas[:2]) == ("worked", 2)


def test_hazards_within_the_drift_circle_are_found_as_by_plain_distances():
    rng = np.random.default_rng(5)
    hazards = np.array(
        [ragged_water(6, 60, 5), shapely.Point(20.0, 30.0), shapely.box(400, 0, 420, 9)], dtype=object
    )
    radius = np.array([0.0, 12.0, 3.0])
    around = Surroundings(np.empty(0, dtype=object), np.empty(0), hazards, radius)
    west, south, east, north = shapely.total_bounds(hazards)
    places = shapely.points(rng.uniform((west - 40, south - 40), (east + 40, north + 40), (3_000, 2)))
    gap = shapely.distance(places[:, None], hazards[None]) - radius
    found = around.hazard_near(places, 9.0)
    assert np.array_equal(found, (gap <= 9.0).any(axis=1))
    assert 100 < found.sum() < 2_900
