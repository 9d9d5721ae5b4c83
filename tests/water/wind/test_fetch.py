"""Fetch against geometry, against a plain ray loop, and against a published sheet."""

import warnings

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from castshed.toolbox.errors import DataError, UsageError
from castshed.toolbox.water.wind.fetch import (
    RADIALS_DEG,
    cosine_mean,
    effective_fetch_lengths,
    fetch_lengths,
    on_water,
)
from long_tests import as_many

CENTRE = np.array([512_345.0, 4_234_567.0])  # far from the origin, as real layers are


def disc(radius_m, corners=7200):
    angle = np.linspace(0.0, 2.0 * np.pi, corners, endpoint=False)
    return shapely.Polygon(CENTRE + radius_m * np.column_stack([np.cos(angle), np.sin(angle)]))


def ray_loop(points, water, bearings_deg, far_m=1e5):
    """The plain way: one ray after the other against the shoreline."""
    shore = shapely.boundary(water)
    found = np.full((len(points), len(bearings_deg)), np.nan)
    for row, point in enumerate(points):
        for column, bearing in enumerate(np.radians(bearings_deg)):
            end = point + far_m * np.array([np.sin(bearing), np.cos(bearing)])
            ray = shapely.LineString([point, end])
            found[row, column] = shapely.distance(shapely.Point(point), shapely.intersection(shore, ray))
    return found


def ragged_lake(seed, corners=400, islands=25):
    """A lake with a ragged shore and islands, nobody's drawing."""
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0.0, 2.0 * np.pi, corners))
    radius = 3000.0 * (1.0 + 0.3 * np.sin(3 * angle + seed) + 0.25 * rng.uniform(-1, 1, corners))
    shore = shapely.Polygon(CENTRE + radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]))
    spots = CENTRE + rng.uniform(-2500, 2500, (islands, 2))
    sizes = rng.uniform(20, 300, islands)
    land = [shapely.Point(s).buffer(r, quad_segs=3) for s, r in zip(spots, sizes, strict=True)]
    return shapely.make_valid(shore) - shapely.union_all(land)


def points_on(water, count, seed):
    rng = np.random.default_rng(seed)
    west, south, east, north = water.bounds
    xy = rng.uniform([west, south], [east, north], (count * 8, 2))
    return xy[shapely.contains_xy(water, xy)][:count]


# Geometry -------------------------------------------------------------------------------------------------


def test_from_the_centre_of_a_disc_every_fetch_is_the_radius():
    # Geometry: R in every direction.
    fetch = fetch_lengths([CENTRE], disc(2500.0), np.arange(0.0, 360.0, 1.7))
    np.testing.assert_allclose(fetch, 2500.0, rtol=1e-5)


def test_offset_point_in_a_disc_follows_the_chord_formula_for_1000_points():
    # Geometry: sqrt(R^2 - e^2 sin^2 a) + e cos a, with a between the direction and the way to the centre.
    radius, rng = 3000.0, np.random.default_rng(6)
    offset = radius * 0.95 * np.sqrt(rng.uniform(size=1000))
    where, towards = rng.uniform(0.0, 360.0, 1000), rng.uniform(0.0, 360.0, 1000)
    points = CENTRE + offset[:, None] * np.column_stack(
        [np.sin(np.radians(where)), np.cos(np.radians(where))]
    )
    a = np.radians(towards - (where + 180.0))
    expected = np.sqrt(radius**2 - (offset * np.sin(a)) ** 2) + offset * np.cos(a)
    fetch = np.diagonal(fetch_lengths(points, disc(radius), towards))
    np.testing.assert_allclose(fetch, expected, rtol=1e-3)


def test_effective_fetch_from_the_centre_of_a_disc_is_the_radius():
    effective = effective_fetch_lengths([CENTRE], disc(1800.0), [0.0, 33.0, 275.0])
    np.testing.assert_allclose(effective, 1800.0, rtol=1e-5)


def test_wind_comes_from_the_bearing_not_towards_it():
    water = shapely.box(0.0, 0.0, 1000.0, 400.0)
    north, east, south, west = fetch_lengths([(100.0, 50.0)], water, [0.0, 90.0, 180.0, 270.0])[0]
    assert (north, east, south, west) == pytest.approx((350.0, 900.0, 50.0, 100.0))


def test_an_island_ends_the_fetch():
    water = shapely.box(0.0, 0.0, 1000.0, 400.0) - shapely.box(500.0, 100.0, 520.0, 300.0)
    assert fetch_lengths([(100.0, 200.0)], water, [90.0])[0, 0] == pytest.approx(400.0)
    assert fetch_lengths([(100.0, 350.0)], water, [90.0])[0, 0] == pytest.approx(900.0)


def test_a_headland_that_is_only_touched_ends_the_fetch():
    water = shapely.Polygon([(0, 0), (1000, 0), (1000, 400), (600, 400), (500, 200), (400, 400), (0, 400)])
    mirrored = shapely.affinity.scale(water, 1.0, -1.0, origin=(0.0, 200.0))
    for lake in (water, mirrored):
        assert fetch_lengths([(100.0, 200.0)], lake, [90.0])[0, 0] == pytest.approx(400.0)


def test_a_ray_through_corners_of_the_shore_does_not_leak():
    # A diamond looked at straight through its four corners, also turned and far from the origin.
    diamond = shapely.Polygon([(0, -700), (700, 0), (0, 700), (-700, 0)])
    for turn in (0.0, 13.0, 45.0, 271.3):
        turned = shapely.affinity.rotate(diamond, -turn, origin=(0, 0))  # clockwise, like a bearing
        moved = shapely.affinity.translate(turned, *CENTRE)
        fetch = fetch_lengths([CENTRE], moved, turn + np.array([0.0, 90.0, 180.0, 270.0]))
        np.testing.assert_allclose(fetch, 700.0, atol=1e-6)


def test_a_ray_along_a_pier_ends_at_its_head():
    pier = shapely.Polygon(
        [(0, 0), (1000, 0), (1000, 200), (700, 200), (700, 210), (1000, 210), (1000, 400), (0, 400)]
    )
    assert fetch_lengths([(100.0, 200.0)], pier, [90.0])[0, 0] == pytest.approx(600.0)


# A second method ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(4))
def test_a_plain_ray_loop_gives_the_same_fetch(seed):
    water = ragged_lake(seed)
    assert shapely.get_num_coordinates(water) > 500
    points, bearings = points_on(water, 30, seed), np.arange(seed, 360.0, 41.0)
    difference = fetch_lengths(points, water, bearings) - ray_loop(points, water, bearings)
    assert np.abs(difference).max() < 1e-6  # far within the 0.1 m asked for


@settings(max_examples=as_many(25), deadline=None)
@given(st.integers(0, 10_000), st.floats(0.0, 360.0))
def test_whole_number_grids_agree_with_the_ray_loop(seed, bearing):
    # Coordinates and bearings in whole numbers: rays meet corners and run along shores.
    rng = np.random.default_rng(seed)
    water = shapely.box(0, 0, 20, 20) - shapely.union_all(
        [shapely.box(x, y, x + w, y + h) for x, y, w, h in rng.integers(1, 8, (5, 4)) * [2, 2, 1, 1]]
    )
    points = points_on(water, 10, seed).round(0) + np.array([0.5, 0.0])
    points = points[shapely.contains_xy(water, points)]
    bearings = [0.0, 90.0, 45.0, 180.0, bearing]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        expected = ray_loop(points, water, bearings, far_m=100.0)
    found = fetch_lengths(points, water, bearings)
    touching = np.abs(found - expected) > 1e-6
    # Where the two differ, the ray passes within rounding of a corner: then both answers are shores on it.
    for row, column in zip(*np.nonzero(touching), strict=True):
        step = found[row, column] * np.array(
            [np.sin(np.radians(bearings[column])), np.cos(np.radians(bearings[column]))]
        )
        assert shapely.distance(shapely.boundary(water), shapely.Point(points[row] + step)) < 1e-6
    assert touching.mean() <= 0.1


# Laws -----------------------------------------------------------------------------------------------------


def test_turning_lake_and_wind_together_changes_nothing():
    water = ragged_lake(11)
    points, bearings = points_on(water, 20, 5), np.array([10.0, 200.0])
    before = fetch_lengths(points, water, bearings)
    turn = 77.0
    turned = shapely.affinity.rotate(water, -turn, origin=tuple(CENTRE))
    moved = shapely.get_coordinates(
        shapely.affinity.rotate(shapely.MultiPoint(points), -turn, origin=tuple(CENTRE))
    )
    np.testing.assert_allclose(fetch_lengths(moved, turned, bearings + turn), before, atol=1e-5)


def test_order_and_company_of_points_do_not_matter():
    water = ragged_lake(3)
    points, bearings = points_on(water, 40, 9), np.arange(0.0, 360.0, 30.0)
    together = fetch_lengths(points, water, bearings)
    np.testing.assert_array_equal(fetch_lengths(points[::-1], water, bearings), together[::-1])
    np.testing.assert_array_equal(fetch_lengths(points[:1], water, bearings[4:5]), together[:1, 4:5])


def test_another_island_never_lengthens_a_fetch():
    water = ragged_lake(8, islands=5)
    points = points_on(water, 60, 2)
    bearings = np.arange(0.0, 360.0, 20.0)
    more = water - shapely.Point(CENTRE + 700.0).buffer(250.0)
    before, after = fetch_lengths(points, water, bearings), fetch_lengths(points, more, bearings)
    still_on = ~np.isnan(after[:, 0])
    assert (after[still_on] <= before[still_on] + 1e-9).all()
    assert (after[still_on] < before[still_on] - 1.0).any()


def test_inputs_are_not_changed_and_full_turns_are_the_same_bearing():
    water, points = shapely.box(0, 0, 100, 100), np.array([[30.0, 40.0]])
    bearings = np.array([-90.0, 270.0, 630.0])
    fetch = fetch_lengths(points, water, bearings)
    assert fetch[0].tolist() == pytest.approx([30.0, 30.0, 30.0])
    assert points.tolist() == [[30.0, 40.0]]
    assert bearings.tolist() == [-90.0, 270.0, 630.0]


# Off the water, on the shore --------------------------------------------------------------------------------


def test_points_off_the_water_have_no_fetch():
    water = shapely.box(0, 0, 100, 100) - shapely.box(40, 40, 60, 60)
    points = [(-5.0, 50.0), (50.0, 50.0), (np.nan, 3.0), (20.0, 50.0)]
    assert on_water(points, water).tolist() == [False, False, False, True]
    fetch = fetch_lengths(points, water, [0.0, 90.0])
    assert np.isnan(fetch[:3]).all()
    assert fetch[3].tolist() == pytest.approx([50.0, 20.0])


def test_a_point_on_the_shore_sees_its_open_side_only():
    water = shapely.box(0, 0, 100, 50)
    fetch = fetch_lengths([(0.0, 20.0), (0.0005, 20.0), (-0.0005, 20.0)], water, [90.0, 270.0, 45.0])
    assert fetch[:, 0].tolist() == pytest.approx([100.0] * 3, abs=0.01)
    assert fetch[:, 1].tolist() == pytest.approx([0.0] * 3, abs=0.01)
    assert fetch[:, 2].tolist() == pytest.approx([30.0 * np.sqrt(2.0)] * 3, abs=0.01)


def test_two_waters_do_not_see_each_other_across_land():
    both = shapely.MultiPolygon([shapely.box(0, 0, 100, 100), shapely.box(150, 0, 400, 100)])
    assert fetch_lengths([(50.0, 50.0), (200.0, 50.0)], both, [90.0, 270.0]).tolist() == [
        pytest.approx([50.0, 50.0]),
        pytest.approx([200.0, 50.0]),
    ]


def test_no_points_or_no_bearings_give_an_empty_answer_of_the_right_shape():
    water = shapely.box(0, 0, 100, 100)
    assert fetch_lengths(np.empty((0, 2)), water, [0.0, 10.0]).shape == (0, 2)
    assert fetch_lengths([(1.0, 1.0)], water, []).shape == (1, 0)


@pytest.mark.parametrize(
    "water",
    [
        None,
        shapely.LineString([(0, 0), (1, 1)]),
        shapely.Polygon(),
        shapely.Polygon([(0, 0), (10, 10), (10, 0), (0, 10)]),
    ],
)
def test_water_that_is_no_sound_polygon_is_refused(water):
    with pytest.raises(DataError, match="water"):
        fetch_lengths([(1.0, 1.0)], water, [0.0])


@pytest.mark.parametrize(
    ("points", "bearings"), [([1.0, 2.0], [0.0]), ([(1.0, 2.0)], 0.0), ([(1.0, 2.0)], [np.nan])]
)
def test_points_and_bearings_of_a_wrong_shape_are_refused(points, bearings):
    with pytest.raises(UsageError):
        fetch_lengths(points, shapely.box(0, 0, 10, 10), bearings)


# Effective fetch --------------------------------------------------------------------------------------------

# Reservoir freeboard sheet after IS 6512-1984 (read): fifteen radials at 6 degrees, km, left to right.
SHEET_KM = [3, 4.85, 3.65, 4.8, 5.5, 5.9, 6, 4.5, 4.7, 5.3, 4.2, 5.25, 6.2, 6.55, 5.1]


def test_the_freeboard_sheet_gives_its_effective_fetch():
    cosines = np.cos(np.radians(RADIALS_DEG))
    assert cosines.sum() == pytest.approx(13.511, abs=0.0005)  # same sheet
    assert float(SHEET_KM @ cosines) == pytest.approx(68.28, abs=0.005)  # same sheet
    assert float(cosine_mean(SHEET_KM)) == pytest.approx(5.1, abs=0.05)  # as printed
    assert float(cosine_mean(SHEET_KM)) == pytest.approx(5.053, abs=0.0005)  # unrounded


def test_effective_fetch_is_the_cosine_mean_of_fifteen_straight_ones():
    water = ragged_lake(21)
    points, winds = points_on(water, 12, 4), [0.0, 215.0, 359.0]
    effective = effective_fetch_lengths(points, water, winds)
    for column, wind in enumerate(winds):
        radials = ray_loop(points, water, wind + np.asarray(RADIALS_DEG))
        np.testing.assert_allclose(effective[:, column], cosine_mean(radials), atol=1e-6)


def test_effective_fetch_in_a_narrow_channel_is_shorter_than_the_straight_one():
    channel = shapely.box(0.0, -50.0, 5000.0, 50.0)
    point = [(4900.0, 0.0)]
    straight = fetch_lengths(point, channel, [270.0])[0, 0]
    assert effective_fetch_lengths(point, channel, [270.0])[0, 0] < 0.3 * straight


def test_radials_and_angles_that_do_not_match_are_refused():
    with pytest.raises(UsageError, match="one angle a radial"):
        cosine_mean([1.0, 2.0], [0.0])
    with pytest.raises(UsageError, match="within 90 degrees"):
        cosine_mean([1.0, 2.0], [0.0, 90.0])
