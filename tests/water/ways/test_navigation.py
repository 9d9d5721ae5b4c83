"""Shortest ways: exact against plain visibility graphs and geometry, lawful, and calm about strange waters."""

from __future__ import annotations

import math
from fractions import Fraction

import networkx as nx
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from castshed.toolbox.errors import DataError, NoSafeWay
from castshed.toolbox.water.ways.mesh import turn
from castshed.toolbox.water.ways.navigation import SafeWater
from long_tests import as_many
from made_waters import narrows, plain_lengths, points_on, ragged_water, relative_error, touches_itself

EMPTY = shapely.MultiPolygon()


def lengths(water, points):
    return SafeWater.build(water).ways(points).length_m


def many_waters():
    for seed in range(165):
        yield ragged_water(seed, 15 + seed % 60, seed % 9, grid_m=(None, 1.0, 50.0)[seed % 3]), seed
    for seed in range(70):
        yield narrows(seed, 1 + seed % 6), seed
    for seed in range(4):
        yield ragged_water(900 + seed, 180, 20), seed


@pytest.mark.long
def test_lengths_equal_plain_visibility_graphs_on_200_waters():
    tested, worst = 0, 0.0
    for water, seed in many_waters():
        if touches_itself(water):
            continue
        points = points_on(water, 6, seed)
        worst = max(worst, relative_error(lengths(water, points), plain_lengths(water, points)))
        tested += 1
    assert tested >= 200
    assert worst < 1e-9


@pytest.mark.parametrize(("radius", "away"), [(100.0, 101.0), (100.0, 250.0), (35.0, 4000.0)])
def test_way_round_a_disc_has_the_length_of_geometry(radius, away):
    # Between ends at distance D on opposite sides of a disc of radius r: 2 sqrt(D^2 - r^2) + 2 r asin(r / D).
    # A polygon within the disc is passed by a shorter way, one round it by a longer one.
    exact = 2.0 * math.sqrt(away**2 - radius**2) + 2.0 * radius * math.asin(radius / away)
    angle = np.linspace(0.0, 2.0 * np.pi, 1440, endpoint=False)
    circle = np.column_stack([np.cos(angle), np.sin(angle)])
    lake = shapely.box(-5000.0, -5000.0, 5000.0, 5000.0)
    ends = [(-away, 0.0), (away, 0.0)]
    inner = lengths(lake.difference(shapely.Polygon(radius * circle)), ends)[0, 1]
    outer = lengths(lake.difference(shapely.Polygon(radius / math.cos(math.pi / 1440) * circle)), ends)[0, 1]
    assert inner <= exact <= outer
    assert outer - inner < 1e-5 * exact


def test_coordinates_of_a_way_run_from_point_to_point_and_add_up_to_its_length():
    water = ragged_water(7, 60, 8)
    points = points_on(water, 8, 7)
    ways = SafeWater.build(water).ways(points)
    shapely.prepare(water)
    for i in range(len(points)):
        for j in range(len(points)):
            way = ways.way(i, j)
            assert np.array_equal(way.coordinates[[0, -1]], points[[i, j]])
            assert way.length_m == ways.length_m[i, j]
            line = shapely.LineString(way.coordinates)
            assert line.length == pytest.approx(way.length_m, rel=1e-12, abs=1e-12)
            assert shapely.covers(water, line if line.length else shapely.Point(points[i]))


def test_there_and_back_are_the_same_way():
    water = ragged_water(11, 70, 9)
    points = points_on(water, 12, 11)
    ways = SafeWater.build(water).ways(points)
    assert np.array_equal(ways.length_m, ways.length_m.T)
    for i in range(len(points)):
        for j in range(i):
            assert np.array_equal(ways.way(i, j).coordinates, ways.way(j, i).coordinates[::-1])


@settings(max_examples=as_many(25), deadline=None)
@given(seed=st.integers(0, 10_000))
def test_no_way_is_longer_than_a_detour(seed):
    water = ragged_water(seed, 40, 6)
    found = lengths(water, points_on(water, 10, seed))
    detour = np.min(found[:, :, None] + found[None], axis=1)
    assert np.all(found <= detour * (1.0 + 1e-12) + 1e-9)


@settings(max_examples=as_many(20), deadline=None)
@given(
    seed=st.integers(0, 1000),
    turned=st.floats(-180.0, 180.0),
    east=st.floats(-1e6, 1e6),
    north=st.floats(0.0, 1e7),
)
def test_moving_and_turning_the_lake_changes_no_length(seed, turned, east, north):
    water = narrows(seed, 3)
    points = points_on(water, 6, seed)[:6]
    cos, sin = math.cos(math.radians(turned)), math.sin(math.radians(turned))

    def moved(xy):
        return np.column_stack(
            [cos * xy[:, 0] - sin * xy[:, 1] + east, sin * xy[:, 0] + cos * xy[:, 1] + north]
        )

    there = shapely.transform(water, moved)
    if not there.is_valid:  # rounding at 10,000 km may close a gap of centimetres
        return
    assert lengths(there, moved(points)) == pytest.approx(lengths(water, points), rel=1e-7, abs=1e-6)


def test_order_of_points_and_of_rings_changes_nothing():
    water = max(ragged_water(3, 50, 7).geoms, key=lambda g: g.area)
    points = points_on(water, 10, 3)
    order = np.random.default_rng(0).permutation(len(points))
    found = lengths(water, points)
    assert np.array_equal(lengths(water, points[order]), found[np.ix_(order, order)])
    rolled = [
        np.roll(np.asarray(r.coords)[:-1], k + 3, axis=0)[::-1]
        for k, r in enumerate((water.exterior, *water.interiors))
    ]
    other = shapely.Polygon(rolled[0], rolled[1:][::-1])
    assert np.array_equal(lengths(other, points), found)


def test_networkx_finds_the_same_lengths_in_the_graph():
    water = ragged_water(5, 60, 7)
    points = points_on(water, 8, 5)
    safe = SafeWater.build(water)
    graph, found = safe.graph(points), safe.ways(points).length_m
    node = {p: n for n, data in graph.nodes(data=True) for p in data["points"]}
    assert sorted(node) == list(range(len(points)))
    for i in range(len(points)):
        reach = nx.single_source_dijkstra_path_length(graph, node[i], weight="length_m")
        assert [reach[node[j]] for j in range(len(points))] == pytest.approx(found[i].tolist(), rel=1e-12)


def test_graph_keeps_places_of_points_that_see_nothing():
    graph = SafeWater.build(shapely.box(0, 0, 1, 1)).graph([(0.5, 0.5), (9.0, 9.0)])
    assert [data["points"] for _, data in graph.nodes(data=True)] == [(0,)]


def test_length_within_an_area_is_that_of_the_drawn_way():
    water = ragged_water(21, 60, 8)
    points = points_on(water, 10, 21)
    area = shapely.MultiPolygon([shapely.box(-300, -300, 50, 100), shapely.box(100, -50, 400, 500)])
    ways = SafeWater.build(water).ways(points)
    within = ways.length_within(area)
    for i in range(len(points)):
        for j in range(len(points)):
            line = shapely.LineString(ways.way(i, j).coordinates)
            assert within[i, j] == pytest.approx(line.intersection(area).length, abs=1e-6)
    assert np.array_equal(ways.length_within(None), np.zeros_like(within))


# ---- strange waters and points


def test_points_off_the_water_are_named_and_have_no_way():
    safe = SafeWater.build(shapely.box(0, 0, 100, 100).difference(shapely.box(40, 40, 60, 60)))
    points = [(10, 10), (50, 50), (-1, 5), (90, 90)]
    assert safe.locate(points).tolist() == [0, -1, -1, 0]
    ways = safe.ways(points)
    assert np.isinf(ways.length_m[1]).all()
    assert np.isinf(ways.length_m[:, 2]).all()
    assert np.isfinite(ways.length_m[0, 3])
    with pytest.raises(NoSafeWay, match="from point 0 to point 1"):
        ways.way(0, 1)


def test_points_in_one_spot_are_joined_by_a_way_of_no_length():
    ways = SafeWater.build(shapely.box(0, 0, 9, 9)).ways([(1, 1), (5, 5), (1, 1)])
    assert ways.length_m[0, 2] == 0.0
    assert ways.length_m[2, 1] == ways.length_m[0, 1]
    assert ways.way(0, 2).coordinates.tolist() == [[1, 1], [1, 1]]


def test_waters_that_touch_in_a_point_are_not_connected():
    water = shapely.MultiPolygon([shapely.box(0, 0, 10, 10), shapely.box(10, 10, 20, 20)])
    safe = SafeWater.build(water)
    assert len(set(safe.locate([(5, 5), (15, 15)]).tolist())) == 2
    assert np.isinf(safe.ways([(5, 5), (15, 15)]).length_m[0, 1])
    # The point itself belongs to one of them.
    found = safe.ways([(5, 5), (10, 10), (15, 15)]).length_m
    assert np.isfinite(found[1]).tolist() in ([True, True, False], [False, True, True])


def test_no_way_leads_through_a_point_where_the_shore_touches_itself():
    # A spit from the west whose tip touches the east shore of a basin, and an island that touches a headland's tip.
    spit = shapely.Polygon([(0, 0), (100, 0), (100, 50), (100, 100), (0, 100), (0, 55), (100, 50), (0, 45)])
    halves = SafeWater.build(shapely.make_valid(spit))
    assert np.isinf(halves.ways([(50, 10), (50, 90)]).length_m[0, 1])
    ring = shapely.Polygon([(0, 0), (100, 0), (100, 100), (0, 100)], [[(100, 50), (40, 60), (40, 40)]])
    assert ring.is_valid
    found = SafeWater.build(ring).ways([(90, 10), (90, 90)]).length_m[0, 1]
    round_the_west = math.dist((90, 10), (40, 40)) + 20 + math.dist((40, 60), (90, 90))
    assert found == pytest.approx(round_the_west, rel=1e-12)


def test_no_way_leads_through_a_strait_of_no_width():
    # Two islands that share a stretch of shore, and a neck pinched to a line, which is no water at all.
    islands = (
        shapely.box(0, 0, 100, 100)
        .difference(shapely.box(20, 40, 50, 60))
        .difference(shapely.box(50, 40, 80, 60))
    )
    found = SafeWater.build(islands).ways([(50, 30), (50, 70)]).length_m[0, 1]
    assert found == pytest.approx(2 * math.dist((50, 30), (80, 40)) + 20, rel=1e-12)
    neck = shapely.Polygon(
        [
            (0, 0),
            (10, 0),
            (10, 5),
            (20, 5),
            (20, 0),
            (30, 0),
            (30, 9),
            (20, 9),
            (20, 5),
            (10, 5),
            (10, 9),
            (0, 9),
        ]
    )
    with pytest.raises(DataError, match=r"not a valid polygon.*make_valid"):
        SafeWater.build(neck)
    assert np.isinf(SafeWater.build(shapely.make_valid(neck)).ways([(5, 5), (25, 5)]).length_m[0, 1])


def test_empty_water_has_no_place_and_no_way():
    for empty in (EMPTY, shapely.Polygon(), shapely.LineString([(0, 0), (1, 1)])):
        safe = SafeWater.build(empty)
        assert safe.locate([(0, 0)]).tolist() == [-1]
        assert np.isinf(safe.ways([(0, 0), (1, 1)]).length_m).all()
        assert safe.graph([(0, 0)]).number_of_nodes() == 0


def test_no_points_give_no_ways():
    assert SafeWater.build(shapely.box(0, 0, 1, 1)).ways([]).length_m.shape == (0, 0)


@pytest.mark.parametrize("points", [[(np.nan, 0.0)], [(np.inf, 0.0)], [1.0, 2.0], [(1.0, 2.0, 3.0)]])
def test_points_that_are_not_pairs_of_finite_numbers_are_refused(points):
    with pytest.raises(DataError, match="finite x and y in metres"):
        SafeWater.build(shapely.box(0, 0, 1, 1)).ways(points)


def test_water_that_overlaps_itself_is_refused():
    both = shapely.GeometryCollection([shapely.box(0, 0, 2, 2), shapely.box(1, 0, 3, 2)])
    with pytest.raises(DataError, match="not a valid polygon"):
        SafeWater.build(both)


def test_progress_adds_up_to_one():
    steps = []
    SafeWater.build(shapely.box(0, 0, 1, 1), progress=steps.append)
    assert sum(steps) == pytest.approx(1.0)


@settings(max_examples=as_many(200), deadline=None)
@given(
    st.lists(st.floats(-1e7, 1e7, allow_subnormal=False), min_size=4, max_size=4),
    st.floats(-2.0, 3.0),
    st.integers(-3, 3),
)
def test_turn_is_decided_as_with_fractions(ends, along, ulps):
    ax, ay, bx, by = ends
    cx, cy = ax + along * (bx - ax), ay + along * (by - ay)
    for _ in range(abs(ulps)):
        cy = math.nextafter(cy, math.copysign(math.inf, ulps))
    exact = (Fraction(bx) - Fraction(ax)) * (Fraction(cy) - Fraction(ay)) - (Fraction(by) - Fraction(ay)) * (
        Fraction(cx) - Fraction(ax)
    )
    points = (np.array([p]) for p in ((ax, ay), (bx, by), (cx, cy)))
    # Differences below 1e-150 are outside the promise.
    if all(v == 0 or abs(v) > 1e-140 for v in (bx - ax, by - ay, cx - ax, cy - ay)):
        assert np.sign(turn(*points)[0]) == (exact > 0) - (exact < 0)
