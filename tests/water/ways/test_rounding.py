"""Round corners: tangent, as wide as asked where there is room, and never nearer to land."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from castshed.toolbox.errors import UsageError
from castshed.toolbox.water.ways.navigation import SafeWater
from castshed.toolbox.water.ways.rounding import round_corners
from castshed.toolbox.water.ways.safe_water import shrink
from long_tests import as_many
from made_waters import points_on, ragged_water

OPEN = shapely.box(-1e4, -1e4, 1e4, 1e4)


def turns(xy):
    step = np.diff(xy, axis=0)
    angle = np.arctan2(step[:, 1], step[:, 0])
    return np.abs((np.diff(angle) + np.pi) % (2 * np.pi) - np.pi)


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_right_angle_is_wound_round_its_disc(side):
    # From (-100, 0) to a disc of radius 20 m that touches the corner (0, 0) from within the bend, and on to (0, 100):
    # two tangents of length sqrt(d^2 - r^2) and the arc between them, by geometry.
    way = round_corners([(-100, 0), (0, 0), (0, side * 100)], 20.0, OPEN)
    d = math.dist((-100, 0), (-20 / math.sqrt(2), 20 / math.sqrt(2)))
    tangent = math.sqrt(d * d - 400.0)
    at_end = math.atan2(20 / math.sqrt(2), 100 - 20 / math.sqrt(2)) - math.asin(20 / d)
    sweep = math.pi / 2 - 2 * at_end
    exact = 2 * tangent + 20 * sweep
    assert way.radius_m.tolist() == [20.0]
    assert exact <= way.length_m <= exact * 1.001
    assert np.max(turns(way.coordinates)) <= math.radians(10.0) + 1e-9
    disc = shapely.Point(-20 / math.sqrt(2), side * 20 / math.sqrt(2)).buffer(20 * (1 - 1e-9), quad_segs=128)
    assert not shapely.LineString(way.coordinates).crosses(disc)


def test_ends_stay_where_they_are():
    way = round_corners([(0, 0), (50, 0), (80, 60), (20, 90)], 10.0, OPEN)
    assert way.coordinates[[0, -1]].tolist() == [[0, 0], [20, 90]]


@settings(max_examples=as_many(30), deadline=None)
@given(seed=st.integers(0, 2000), radius=st.floats(1.0, 80.0))
def test_rounded_way_keeps_to_its_water(seed, radius):
    water = ragged_water(seed, 60, 8)
    safe = shrink(water, 8.0)
    points = points_on(safe, 6, seed)[:6]
    ways = SafeWater.build(safe).ways(points)
    for i, j in zip(*np.nonzero(np.triu(np.isfinite(ways.length_m), 1)), strict=True):
        way = ways.way(i, j)
        found = round_corners(way.coordinates, radius, safe)
        line = shapely.LineString(found.coordinates)
        assert shapely.covers(safe, line)
        assert shapely.distance(line, shapely.boundary(water)) >= 8.0
        assert np.array_equal(found.coordinates[[0, -1]], way.coordinates[[0, -1]])
        assert line.length == pytest.approx(found.length_m)
        assert found.length_m >= way.length_m * (1 - 1e-12)
        assert len(found.radius_m) == len(way.coordinates) - 2
        if np.all(found.radius_m > 0.0) and len(found.coordinates) > 2:
            assert np.max(turns(found.coordinates)) <= math.radians(10.0) + 1e-6


def test_canal_too_tight_for_the_radius_gets_a_smaller_one():
    # A canal 4 m wide with a right-angled bend: 50 m cannot be turned in it.
    canal = shapely.union_all([shapely.box(0, 0, 100, 4), shapely.box(96, 0, 100, 100)])
    found = round_corners(SafeWater.build(canal).ways([(1, 2), (98, 99)]).way(0, 1).coordinates, 50.0, canal)
    assert np.all(found.radius_m < 50.0)
    assert shapely.covers(canal, shapely.LineString(found.coordinates))


def test_straight_way_stays_straight():
    assert round_corners([(0, 0), (10, 0)], 5.0, OPEN).coordinates.tolist() == [[0, 0], [10, 0]]
    assert round_corners([(3, 3), (3, 3)], 5.0, OPEN).length_m == 0.0


@pytest.mark.parametrize("radius", [0.0, -1.0, float("nan"), float("inf")])
def test_radius_that_is_no_length_is_refused(radius):
    with pytest.raises(UsageError, match="above 0"):
        round_corners([(0, 0), (1, 0), (1, 1)], radius, OPEN)
