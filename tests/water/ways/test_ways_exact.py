"""Ways, views, straits and sills to the last digit: on waters small enough to be worked out by hand or by brute force."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import DataError, NoSafeWay, UsageError
from castshed.toolbox.water.runs.afloat import Handling, set_afloat
from castshed.toolbox.water.ways.bottlenecks import narrowest, sills
from castshed.toolbox.water.ways.mesh import triangulate, turn
from castshed.toolbox.water.ways.navigation import SafeWater, as_points
from castshed.toolbox.water.ways.passages import passages
from castshed.toolbox.water.ways.safe_water import safe_waters, shrink
from castshed.toolbox.water.ways.visibility import Places, corner_sights, place_sights
from made_lake import CRS, frame
from made_waters import narrows, plain_lengths, points_on, ragged_water, relative_error, touches_itself

ISLAND = shapely.box(0, 0, 100, 100).difference(shapely.box(40, 40, 60, 60))


@pytest.mark.parametrize("grid_m", [None, 1.0, 50.0])
def test_lengths_on_a_few_waters_equal_plain_visibility_graphs(grid_m):
    tested = 0
    for seed in range(7):
        water = narrows(seed, 3) if seed == 6 else ragged_water(seed, 14 + 5 * seed, seed, grid_m=grid_m)
        if not touches_itself(water):
            points = points_on(water, 5, seed)
            found = SafeWater.build(water).ways(points).length_m
            assert relative_error(found, plain_lengths(water, points)) < 1e-9
            tested += 1
    assert tested >= 2


def sees(water, one, other):
    return bool(shapely.covers(water.buffer(1e-9), shapely.LineString([one, other])))


def tangent(mesh, eye, corner):
    """Both neighbours of a corner on one side of the line to it, or on the line."""
    ends = (mesh.before[corner], mesh.after[corner])
    sides = [float(turn(np.array([eye]), mesh.xy[[corner]], mesh.xy[[end]])[0]) for end in ends]
    return sides[0] * sides[1] >= 0.0


@pytest.mark.parametrize(("seed", "size_m"), [*((seed, 1000.0) for seed in range(6)), (1, 1.0), (4, 1.0)])
def test_pairs_that_see_each_other_are_those_a_line_of_sight_joins(seed, size_m):
    """Brute force: a pair of corners counts when the straight line stays on the water and grazes both."""
    water = max(shapely.get_parts(ragged_water(seed, 9, 3, size_m=size_m)), key=lambda part: part.area)
    mesh = triangulate(water)
    kept, bends = np.ones(len(mesh.triangles), dtype=bool), mesh.bends
    safe = SafeWater.build(water)
    points = np.unique(points_on(water, 5, seed)[:5], axis=0)
    point, triangle = safe.holding(points)
    order = np.lexsort((point, triangle))
    places = Places(points, point[order], triangle[order])
    corners = np.flatnonzero(bends)
    # Corners that lie on the line between two others hide nothing and are left to the shorter pairs.
    found = set(zip(*(part.tolist() for part in corner_sights(mesh, kept, bends)), strict=True))
    for one in corners:
        for other in corners[corners > one]:
            clear = sees(water, mesh.xy[one], mesh.xy[other])
            graze = tangent(mesh, mesh.xy[one], other) and tangent(mesh, mesh.xy[other], one)
            assert ((int(one), int(other)) in found) == (clear and graze), (one, other)
    assert all(bends[one] and bends[other] and one < other for one, other in found)
    (seer, seen), (first, second) = place_sights(mesh, kept, bends, places)
    met = set(zip(seer.tolist(), seen.tolist(), strict=True))
    for place in range(len(points)):
        for corner in corners:
            wanted = sees(water, points[place], mesh.xy[corner]) and tangent(mesh, points[place], corner)
            assert ((place, int(corner)) in met) == wanted
    together = set(zip(first.tolist(), second.tolist(), strict=True))
    for one in range(len(points)):
        for other in range(one + 1, len(points)):
            assert ((one, other) in together) == sees(water, points[one], points[other])


def test_lengths_round_a_square_island_are_those_of_the_corners():
    safe = SafeWater.build(ISLAND)
    ways = safe.ways([(30, 50), (70, 50), (30, 30), (50, 50)])
    assert ways.length_m[0, 1] == pytest.approx(2 * math.hypot(10, 10) + 20)
    assert ways.length_m[2, 0] == pytest.approx(20)
    assert np.isinf(ways.length_m[3]).all()
    assert ways.length_m.diagonal()[:3].tolist() == [0, 0, 0]
    assert len(ways.way(0, 1).coordinates) == 4
    with pytest.raises(NoSafeWay, match="from point 3 to point 0"):
        ways.way(3, 0)


def test_what_of_a_way_lies_in_a_zone_is_measured_once():
    ways = SafeWater.build(ISLAND).ways([(30, 50), (70, 50), (30, 50), (50, 50), (30, 80)])
    whole = shapely.box(0, 0, 100, 100)
    assert ways.length_within(whole)[:3, :3] == pytest.approx(ways.length_m[:3, :3])
    strip = ways.length_within(shapely.box(30, 0, 40, 100))
    assert strip[0, 1] == strip[1, 2] == pytest.approx(math.hypot(10, 10))
    assert strip[0, 2] == 0.0
    assert np.isinf(strip[3]).all()
    assert strip[0, 4] == pytest.approx(30.0)  # along its edge
    nothing = ways.length_within(shapely.Polygon())
    assert nothing[0, 1] == 0.0
    assert np.isinf(nothing[0, 3])
    assert SafeWater.build(ISLAND).ways([(1, 1)]).length_within(whole).tolist() == [[0.0]]


def test_parts_of_a_water_have_their_area_and_shore():
    both = SafeWater.build(shapely.union_all([shapely.box(0, 0, 10, 10), shapely.box(20, 0, 25, 4)]))
    assert sorted(both.part_area_m2) == pytest.approx([20.0, 100.0])
    part = both.locate([(5, 5), (22, 2), (15, 5)])
    assert part[2] == -1
    assert both.part_area_m2[part[:2]] == pytest.approx([100.0, 20.0])
    segments, of = both.shore
    length = np.hypot(*(segments[:, 1] - segments[:, 0]).T)
    assert [length[of == p].sum() for p in part[:2]] == pytest.approx([40.0, 18.0])
    assert len(SafeWater.build(shapely.Polygon()).part_area_m2) == 0
    for seed in range(6):
        water = ragged_water(seed, 20, 4)
        safe = SafeWater.build(water)
        segments, _ = safe.shore
        assert np.hypot(*(segments[:, 1] - segments[:, 0]).T).sum() == pytest.approx(water.length)
        assert safe.part_area_m2.sum() == pytest.approx(water.area)


def test_points_are_pairs_of_numbers():
    assert as_points([]).shape == (0, 2)
    assert as_points([(1, 2)]).tolist() == [[1.0, 2.0]]
    assert not np.signbit(as_points([(-0.0, -0.0)])).any()  # one place has one name
    for wrong in ([1.0, 2.0, 3.0], [(1.0, math.nan)], [[[1.0, 2.0]]], [(1.0,)]):
        with pytest.raises(DataError):
            as_points(wrong)


# --- passages ------------------------------------------------------------------------------------------------------------


def go(xy, running, idling, **more):
    waters = (SafeWater.build(running), SafeWater.build(idling))
    return passages(xy, *waters, **({"run_speed_mps": 10.0, "idle_speed_mps": 2.0} | more))


def test_times_are_lengths_over_speeds_and_a_slow_zone_never_makes_faster():
    water = shapely.box(0, 0, 1000, 100)
    zone = shapely.box(200, 0, 300, 100)
    found = go([(100, 50), (600, 50)], water, water, slow=zone)
    assert found.distance_m[0, 1] == 500.0
    assert (found.slow_m[0, 1], found.idle_m[0, 1]) == (100.0, 0.0)
    assert found.time_s[0, 1] == pytest.approx(400 / 10 + 100 / 2)  # the idle speed, none being told
    for told, zone_mps in ((5.0, 5.0), (50.0, 10.0)):
        found = go([(100, 50), (600, 50)], water, water, slow=zone, slow_speed_mps=told)
        assert found.time_s[0, 1] == pytest.approx(400 / 10 + 100 / zone_mps)


@pytest.mark.parametrize("name", ["run_speed_mps", "idle_speed_mps", "slow_speed_mps"])
@pytest.mark.parametrize("speed", [0.0, -1.0, math.nan, math.inf])
def test_a_speed_that_is_none_is_refused(name, speed):
    with pytest.raises(UsageError, match="give a speed above 0"):
        go([(1, 1)], shapely.box(0, 0, 9, 9), shapely.box(0, 0, 9, 9), **{name: speed})


def test_a_small_pool_to_run_in_counts_from_its_least_area_on_or_with_a_stop():
    idling = shapely.box(0, 0, 1000, 100)
    running = shapely.union_all([shapely.box(0, 0, 400, 100), shapely.box(500, 0, 600, 100)])
    xy = [(200, 50), (900, 50)]
    through = go(xy, running, idling, least_run_area_m2=10_000.0)
    assert through.idle_m[0, 1] == pytest.approx(100 + 300)
    beyond = go(xy, running, idling, least_run_area_m2=10_001.0)
    assert beyond.idle_m[0, 1] == pytest.approx(500)
    stopped = go([*xy, (550, 50)], running, idling, least_run_area_m2=10_001.0)
    assert stopped.idle_m[0, 1] == pytest.approx(400)


def test_stops_without_a_way_say_so_and_stops_in_one_spot_need_none():
    water = shapely.union_all([shapely.box(0, 0, 100, 100), shapely.box(200, 0, 300, 100)])
    found = go([(50, 50), (250, 50), (50, 50), (-5, 5)], water, water)
    assert np.isinf(found.time_s[0, 1])
    assert np.isinf(found.time_s[3]).all()
    assert found.legs(0, 2) == []
    assert found.distance_m[0, 2] == found.time_s[0, 2] == 0.0
    assert found.reason[0] == ""
    assert found.reason[1]
    with pytest.raises(NoSafeWay, match="from stop 0 to stop 1"):
        found.legs(0, 1)
    for there, back in ((3, 0), (0, 3)):
        with pytest.raises(NoSafeWay, match="outside the water"):
            found.legs(there, back)
    assert go(np.empty((0, 2)), water, water).time_s.shape == (0, 0)


# --- straits and sills -----------------------------------------------------------------------------------------------------


def test_a_strait_is_as_wide_as_it_is_between_corners_and_between_corner_and_wall():
    basins = [shapely.box(0, 0, 100, 100), shapely.box(120, 0, 220, 100)]
    gap = shapely.union_all([*basins, shapely.box(99, 45, 121, 52)])
    (canal, own) = narrowest(SafeWater.build(gap), (50, 50), [(170, 50), (60, 50)])
    assert canal.width_m == pytest.approx(7.0)
    assert 100 <= canal.x <= 120
    assert canal.y == pytest.approx(48.5)
    assert own is None or own.width_m > 90
    # A spit whose tip stands 6 m off the far wall, between no two corners.
    spit = shapely.box(0, 0, 200, 100).difference(shapely.Polygon([(99, -1), (101, -1), (100, 94)]))
    (tip,) = narrowest(SafeWater.build(spit), (20, 50), [(180, 50)])
    assert (tip.width_m, tip.x, tip.y) == pytest.approx((6.0, 100.0, 97.0))
    (wide,) = narrowest(SafeWater.build(spit), (20, 50), [(180, 50)], up_to_m=5.0)
    assert wide.width_m >= 6.0


def test_where_two_ways_lead_the_wider_counts():
    wall = shapely.box(95, -1, 105, 101)
    gaps = [shapely.box(90, 10, 110, 13), shapely.box(90, 70, 110, 79)]
    water = shapely.box(0, 0, 200, 100).difference(wall.difference(shapely.union_all(gaps)))
    (found,) = narrowest(SafeWater.build(water), (20, 50), [(180, 50)])
    assert found.width_m == pytest.approx(9.0)
    assert found.y == pytest.approx(74.5)


def test_no_strait_leads_to_another_water():
    water = shapely.union_all([shapely.box(0, 0, 10, 10), shapely.box(20, 0, 30, 10)])
    assert narrowest(SafeWater.build(water), (5, 5), [(25, 5), (15, 5)]) == [None, None]
    assert narrowest(SafeWater.build(water), (15, 5), [(25, 5)]) == [None]


def grid(rows):
    return DepthSurface(np.array(rows, dtype="f4"), 0.0, float(len(rows)), 1.0, 1.0, CRS)


def test_the_sill_is_the_shoalest_cell_of_the_deepest_way_ends_included():
    bar = grid([[5, 5, 2, 5, 5], [5, 5, 3, 5, 5], [5, 5, 1, 5, 0.5]])
    (found, thin, own) = sills(bar, (0.5, 1.5), [(3.5, 1.5), (4.5, 0.5), (1.5, 1.5)])
    assert (found.depth_m, found.x, found.y) == (3.0, 2.5, 1.5)
    assert thin.depth_m == 0.5
    assert own.depth_m == 5.0
    known = grid(np.full((3, 3), 2.0))
    assert sills(known, (0.5, 0.5), [(9.0, 1.0), (1.5, 1.5)])[0] is None
    assert sills(known, (-0.5, 0.5), [(1.5, 1.5)]) == [None]
    # Over a corner: eight neighbours count, the surface's edges do not wrap round.
    corner = grid([[5, np.nan, 5], [np.nan, 4, np.nan], [5, np.nan, 5]])
    assert [one.depth_m for one in sills(corner, (0.5, 2.5), [(2.5, 2.5), (0.5, 0.5), (2.5, 0.5)])] == [
        4.0
    ] * 3
    apart = grid([[5, np.nan, np.nan], [np.nan, np.nan, 5], [np.nan, np.nan, 5]])
    assert sills(apart, (0.5, 2.5), [(2.5, 1.5), (0.5, 2.5)])[0] is None
    assert sills(apart, (0.5, 2.5), [(-0.01, 2.5), (0.5, 3.01), (3.01, 0.5), (0.5, -0.01)]) == [None] * 4


# --- what is left to a boat --------------------------------------------------------------------------------------------


def test_safe_water_keeps_each_clearance_to_a_millimetre_and_takes_little_more():
    for clearance in (0.5, 3.0, 17.0):
        inner = shrink(ISLAND, clearance)
        kept = shapely.distance(inner, shapely.boundary(ISLAND))
        assert clearance <= kept <= 1.2 * clearance + 0.01
        exact = shrink(ISLAND, clearance, tolerance_m=0.0)
        assert clearance <= shapely.distance(exact, shapely.boundary(ISLAND)) <= clearance + 0.0011


@pytest.mark.parametrize(
    ("name", "value"), [("clearance_m", -0.1), ("tolerance_m", -0.1), ("tolerance_m", math.nan)]
)
def test_a_clearance_that_is_no_length_is_refused(name, value):
    with pytest.raises(UsageError, match=f"{name[:-2]} is {value}"):
        shrink(ISLAND, **({"clearance_m": 1.0} | {name: value}))


def test_running_water_is_told_from_idling_water_by_hazard_or_by_clearance_alone():
    water = frame([shapely.box(0, 0, 200, 100)])
    run_only = frame([shapely.box(100, 0, 200, 100)], care=["run"])
    running, idling = safe_waters(water, run_only, clearance_m=5.0)
    assert not shapely.intersects_xy(running, 150, 50)
    assert shapely.intersects_xy(idling, 150, 50)
    assert shapely.distance(running, run_only.geometry[0]) >= 5.0
    running, idling = safe_waters(water, None, clearance_m=5.0, run_clearance_m=20.0)
    assert shapely.distance(running, shapely.boundary(water.geometry[0])) >= 20.0
    assert shapely.intersects_xy(idling, 10, 50)
    both = frame([shapely.box(100, 0, 200, 100)], care=["idle"])
    running, idling = safe_waters(water, both, clearance_m=5.0)
    assert running.equals(idling)
    assert shapely.distance(idling, both.geometry[0]) >= 5.0


def boat(**more):
    given = {
        "beam_m": 2.4,
        "fix_error_m": 3.0,
        "clearance_m": 5.0,
        "idle_clearance_m": 1.0,
        "launch_m": 30.0,
    }
    return Handling.of_boat(**(given | {"run_speed_mps": 10.0, "idle_speed_mps": 2.0} | more))


def test_a_boat_keeps_clear_half_its_beam_its_position_error_and_what_is_wanted():
    assert boat() == Handling(pytest.approx(5.2), pytest.approx(9.2), 10.0, 2.0, 30.0)
    for name in ("run_speed_mps", "idle_speed_mps"):
        assert boat(**{name: 0.25})
        for speed in (0.0, -1.0):
            with pytest.raises(UsageError, match="above 0"):
                boat(**{name: speed})


def test_set_afloat_a_boat_takes_to_its_water_from_each_ramp_in_reach():
    water = frame([shapely.box(0, 0, 300, 200)])
    zones = frame([shapely.box(200, 0, 240, 200)], zone=["slow"], speed_mps=[math.nan], reason=["x"])
    ramps = [shapely.Point(50, -10), shapely.Point(150, 100), shapely.Point(100, -80)]
    holds = np.array([shapely.Point(280, 100)], dtype=object)
    found = set_afloat(ramps, holds, water, None, zones, None, boat())
    near, afloat, far = found.entries
    assert far is None
    assert shapely.equals(afloat, ramps[1])
    assert near.x == pytest.approx(50, abs=0.2)
    assert 5.2 <= near.y <= 6.4  # the clearance, at most a fifth more
    assert list(found.launches()) == [0]
    assert shapely.get_coordinates(found.launches()[0]).tolist() == [[50.0, -10.0], [near.x, near.y]]
    ways = found.ways(holds)
    assert ways.distance_m.shape == (3, 3)
    assert ways.distance_m[1, 2] == pytest.approx(130.0, abs=1e-6)
    # A slow zone that tells no speed is passed at the idle speed.
    assert ways.slow_m[1, 2] == pytest.approx(40.0)
    fast = 130.0 - 40.0 - ways.idle_m[1, 2]
    assert ways.time_s[1, 2] == pytest.approx(fast / 10 + (40.0 + ways.idle_m[1, 2]) / 2)
    assert set_afloat(ramps, holds, water, None, None, None, boat()).ways(holds).slow_m[1, 2] == 0.0


def test_a_running_boat_is_measured_against_run_hazards_and_an_idling_one_is_not():
    water = frame([shapely.box(0, 0, 300, 200)])
    thin = frame([shapely.box(90, 90, 110, 110)], care=["run"], reason=["bar"])
    zones = frame([shapely.box(200, 0, 240, 200)], zone=["slow"], speed_mps=[2.5], reason=["x"])
    found = set_afloat([], np.empty(0, dtype=object), water, thin, zones, None, boat()).surroundings(
        None, -0.5
    )
    place = shapely.Point(100, 80)
    assert shapely.distance(found.running.segments, place).min() == 10.0
    assert shapely.distance(found.idling.segments, place).min() == 80.0
    assert (found.depth, found.level_m, [speed for speed, _ in found.slow]) == (None, -0.5, [2.5])


def test_a_launch_of_half_a_metre_is_a_launch():
    water = frame([shapely.box(0, 0, 300, 200)])
    holds = np.array([shapely.Point(280, 100)], dtype=object)
    (entry,) = set_afloat([shapely.Point(50, -10)], holds, water, None, None, None, boat()).entries
    near = set_afloat([shapely.Point(50, entry.y - 0.5)], holds, water, None, None, None, boat())
    assert near.launches()[0].length == pytest.approx(0.5, abs=1e-3)


def test_all_slow_zones_count_at_the_speed_of_the_slowest_for_the_order():
    water = frame([shapely.box(0, 0, 300, 200)])
    boxes = [shapely.box(100, 0, 120, 200), shapely.box(200, 0, 240, 200)]
    zones = frame(boxes, zone=["slow"] * 2, speed_mps=[4.0, 2.5], reason=["x"] * 2)
    holds = np.array([shapely.Point(280, 100)], dtype=object)
    ways = set_afloat([shapely.Point(50, 100)], holds, water, None, zones, None, boat()).ways(holds)
    assert ways.slow_m[0, 1] == pytest.approx(60.0)
    fast = 230.0 - 60.0 - ways.idle_m[0, 1]
    assert ways.time_s[0, 1] == pytest.approx(fast / 10 + 60.0 / 2.5 + ways.idle_m[0, 1] / 2)
