"""Ways at two depths of care: run where it is safe, idle only where it must be."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely

from castshed.toolbox.errors import DataError, NoSafeWay, UsageError
from castshed.toolbox.water.ways.navigation import SafeWater
from castshed.toolbox.water.ways.passages import passages
from castshed.toolbox.water.ways.safe_water import shrink
from made_waters import points_on, ragged_water

NOTHING = SafeWater.build(shapely.MultiPolygon())
RUN_MPS, IDLE_MPS = 10.0, 2.0


def go(xy, running, idling, **more):
    waters = [w if isinstance(w, SafeWater) else SafeWater.build(w) for w in (running, idling)]
    return passages(xy, *waters, run_speed_mps=RUN_MPS, idle_speed_mps=IDLE_MPS, **more)


def chain_of_lakes():
    """Three running waters in a row in one idling water, with a promontory and a wall in the thin water between."""
    idling = shapely.box(0, 0, 2000, 400).difference(shapely.box(820, 0, 980, 180))
    idling = idling.difference(shapely.box(1440, 200, 1460, 400))
    running = shapely.union_all(
        [shapely.box(50, 50, 800, 350), shapely.box(1000, 50, 1400, 350), shapely.box(1500, 50, 1900, 350)]
    )
    return running, idling


def check(found, xy, running, idling):
    """Every way is in one piece, in the right water, and as long as it says."""
    running, idling = (shapely.buffer(w, 1e-6) for w in (running, idling))
    count = 0
    for i in range(len(xy)):
        for j in range(len(xy)):
            if not np.isfinite(found.time_s[i, j]):
                with pytest.raises(NoSafeWay):
                    found.legs(i, j)
                continue
            legs = found.legs(i, j)
            lines = [(part, shapely.LineString(points)) for part, points in legs]
            if legs:
                assert np.array_equal(legs[0][1][0], xy[i])
                assert np.array_equal(legs[-1][1][-1], xy[j])
            for (one, ahead), (other, behind) in pairwise(legs):
                assert one != other
                assert np.array_equal(ahead[-1], behind[0])
            for part, line in lines:
                assert shapely.covers(running if part == "run" else idling, line)
            whole = sum(line.length for _, line in lines)
            idled = sum(line.length for part, line in lines if part == "idle")
            assert found.distance_m[i, j] == pytest.approx(whole, abs=1e-6)
            assert found.idle_m[i, j] == pytest.approx(idled, abs=1e-6)
            slow = found.slow_m[i, j]
            time = (whole - idled - slow) / RUN_MPS + (idled + slow) / IDLE_MPS
            assert found.time_s[i, j] == pytest.approx(time, abs=1e-6)
            count += 1
    return count


def test_within_running_water_the_way_is_the_shortest():
    water = ragged_water(4, 50, 6)
    water = max(shapely.get_parts(water), key=lambda g: g.area)
    xy = points_on(water, 8, 4)
    found = go(xy, water, water)
    assert np.array_equal(found.distance_m, SafeWater.build(water).ways(xy).length_m)
    assert not found.idle_m.any()
    assert found.reason == [""] * len(xy)
    check(found, xy, water, water)


def test_stop_in_thin_water_is_reached_by_the_shortest_idle_piece():
    running, idling = shapely.box(100, 0, 500, 400), shapely.box(0, 0, 500, 400)
    xy = np.array([(300.0, 200.0), (40.0, 200.0)])
    legs = go(xy, running, idling).legs(0, 1)
    assert [part for part, _ in legs] == ["run", "idle"]
    assert shapely.LineString(legs[1][1]).length == pytest.approx(60.0, abs=1e-6)


def test_idle_piece_goes_round_land_between_stop_and_gate():
    # The straight line to running water is barred by a wall whose upper end is 50 m up.
    running = shapely.box(100, 0, 500, 400)
    idling = shapely.box(0, 0, 500, 400).difference(shapely.box(60, 0, 80, 250))
    xy = np.array([(300.0, 200.0), (40.0, 200.0)])
    found = go(xy, running, idling)
    part, piece = found.legs(1, 0)[0]
    assert part == "idle"
    wanted = math.dist((40, 200), (60, 250)) + 20.0 + 20.0
    assert shapely.LineString(piece).length == pytest.approx(wanted, abs=1e-6)
    check(found, xy, running, idling)


def test_two_stops_in_thin_water_idle_across_where_that_is_quicker():
    running, idling = shapely.box(100, 0, 500, 400), shapely.box(0, 0, 500, 400)
    xy = np.array([(300.0, 200.0), (20.0, 200.0), (20.0, 230.0), (20.0, 399.0)])
    found = go(xy, running, idling)
    assert [part for part, _ in found.legs(1, 2)] == ["idle"]
    assert found.idle_m[1, 2] == 30.0
    assert found.time_s[1, 3] == pytest.approx(min(199.0 / IDLE_MPS, 160.0 / IDLE_MPS + 199.0 / RUN_MPS))
    check(found, xy, running, idling)


def test_running_waters_are_joined_by_idling():
    running, idling = chain_of_lakes()
    xy = np.array(
        [(100, 100), (1100, 100), (1800, 300), (20, 20), (790, 20), (1450, 190), (10, 20), (100, 100)],
        dtype=float,
    )
    found = go(xy, running, idling)
    assert found.reason == [""] * len(xy)
    assert [part for part, _ in found.legs(0, 2)] == ["run", "idle", "run", "idle", "run"]
    assert found.legs(0, 7) == []
    assert check(found, xy, running, idling) == len(xy) ** 2
    for values in (found.distance_m, found.time_s, found.idle_m, found.slow_m):
        assert np.array_equal(values, values.T)
        assert not values.diagonal().any()


def test_pool_too_small_to_run_is_idled_through():
    idling = shapely.box(0, 0, 1000, 100)
    running = shapely.union_all(
        [shapely.box(0, 0, 300, 100), shapely.box(450, 40, 470, 60), shapely.box(600, 0, 1000, 100)]
    )
    xy = np.array([(100.0, 50.0), (900.0, 50.0)])
    assert [part for part, _ in go(xy, running, idling).legs(0, 1)] == ["run", "idle", "run"]
    assert [part for part, _ in go(xy, running, idling, least_run_area_m2=100.0).legs(0, 1)] == [
        "run",
        "idle",
    ] * 2 + ["run"]


def test_slow_zone_takes_longer_and_changes_no_way():
    running = shapely.box(0, 0, 1000, 100)
    xy = np.array([(50.0, 50.0), (950.0, 50.0)])
    zone = shapely.box(200, -10, 500, 110)
    found, free = go(xy, running, running, slow=zone), go(xy, running, running)
    assert np.array_equal(found.distance_m, free.distance_m)
    assert found.slow_m[0, 1] == pytest.approx(300.0)
    assert found.time_s[0, 1] == pytest.approx(600.0 / RUN_MPS + 300.0 / IDLE_MPS)
    assert go(xy, running, running, slow=zone, slow_speed_mps=4.0).time_s[0, 1] == pytest.approx(
        600 / 10 + 300 / 4
    )


def test_boat_without_running_water_idles_everywhere():
    idling = shapely.box(0, 0, 500, 400)
    xy = np.array([(10.0, 10.0), (410.0, 310.0)])
    found = go(xy, NOTHING, idling)
    assert found.time_s[0, 1] == 500.0 / IDLE_MPS
    assert [part for part, _ in found.legs(0, 1)] == ["idle"]


def test_stops_that_cannot_be_reached_say_why():
    idling = shapely.MultiPolygon([shapely.box(0, 0, 100, 100), shapely.box(200, 0, 300, 100)])
    xy = np.array([(50.0, 50.0), (150.0, 50.0), (250.0, 50.0), (60.0, 50.0)])
    found = go(xy, idling, idling)
    assert found.reason[0] == found.reason[3] == ""
    assert "50 m (164 ft) away" in found.reason[1]
    assert "other water" in found.reason[2]
    assert np.isinf(found.time_s[0, [1, 2]]).all()
    assert np.isinf(found.time_s[1]).all()
    assert found.time_s[2, 2] == 0.0
    with pytest.raises(NoSafeWay, match=r"stop 0 to stop 1: .*50 m \(164 ft\) away"):
        found.legs(0, 1)


def test_start_off_the_water_is_named_for_all():
    water = shapely.box(0, 0, 100, 100)
    found = go(np.array([(-5.0, 50.0), (50.0, 50.0)]), water, water)
    assert "5 m (16.4 ft) away" in found.reason[0]
    assert "start" in found.reason[1]


def test_no_water_at_all_is_named():
    found = go(np.array([(0.0, 0.0), (1.0, 1.0)]), NOTHING, NOTHING)
    assert all("there is none" in reason for reason in found.reason)
    assert np.isinf(found.time_s).all()


def test_no_stops_give_no_ways():
    found = go(np.empty((0, 2)), shapely.box(0, 0, 1, 1), shapely.box(0, 0, 1, 1))
    assert found.time_s.shape == (0, 0)
    assert found.reason == []


@pytest.mark.parametrize("speed", [0.0, -1.0, float("nan")])
def test_speed_that_gets_nowhere_is_refused(speed):
    water = SafeWater.build(shapely.box(0, 0, 1, 1))
    with pytest.raises(UsageError, match="run speed"):
        passages([(0, 0)], water, water, run_speed_mps=speed, idle_speed_mps=1.0)


def test_stops_that_are_no_points_are_refused():
    with pytest.raises(DataError, match="finite x and y"):
        go(np.array([(np.nan, 1.0)]), shapely.box(0, 0, 1, 1), shapely.box(0, 0, 1, 1))


@pytest.mark.parametrize("seed", range(8))
def test_made_waters_with_thin_rims_hold_together(seed):
    water = ragged_water(seed, 50, 8)
    idling, running = shrink(water, 5.0), shrink(water, 45.0)
    running = shapely.intersection(running, idling)
    xy = points_on(idling, 14, seed)
    found = go(xy, running, idling, slow=shapely.box(-200, -200, 200, 0))
    assert check(found, xy, running, idling) > len(xy)
    assert np.array_equal(np.isfinite(found.time_s), np.isfinite(SafeWater.build(idling).ways(xy).length_m))
