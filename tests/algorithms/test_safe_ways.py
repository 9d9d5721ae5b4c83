"""Ways between all places as a graph, what legs tell of themselves, round corners, and each failure by name."""

from __future__ import annotations

import datetime as dt
import warnings

import geopandas as gpd
import networkx as nx
import numpy as np
import pytest
import shapely

from castshed.algorithms.safe_ways import safe_ways
from castshed.algorithms.shallow_hazards import shallow_hazards
from castshed.algorithms.shortest_run import shortest_run
from castshed.algorithms.water_today import water_today
from castshed.algorithms.wind_exposure import wind_exposure
from castshed.toolbox.errors import NoSafeWay, UsageError
from castshed.toolbox.water.wind.forecast import Forecast
from made_lake import CRS, X0, Y0, frame, make_lake

KEEP_M = 2.4384 / 2 + 3.0


def hold_frame(points, ids=None, status="ok"):
    ids = [f"s{k}" for k in range(len(points))] if ids is None else ids
    return frame(
        [shapely.Point(X0 + x, Y0 + y) for x, y in points],
        spot_id=ids,
        hold_no=[1] * len(points),
        status=[status] * len(points),
        reason=["none near"] * len(points),
        depth_today_m=[4.0] * len(points),
        cast_m=[20.0] * len(points),
        cast_bearing_deg=[0.0] * len(points),
        deep_bearing_deg=[0.0] * len(points),
        wind_angle_deg=[90.0] * len(points),
    )


@pytest.fixture(scope="module")
def made():
    lake = make_lake()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        today = water_today(lake.depth, lake.shoreline)
        hazards = shallow_hazards(lake.depth, today.water, known_hazards=lake.known_hazards)
    return lake, today.water, hazards


POINTS = [(200, 200), (800, 200), (200, 800), (800, 800), (440, 500), (560, 650), (740, 650), (650, 740)]


def test_the_layer_is_the_graph_of_the_lake(made):
    lake, water, hazards = made
    found = safe_ways(hold_frame(POINTS), lake.ramps, water, hazards=hazards, zones=lake.zones)
    ids = ["r1", *(f"s{k}" for k in range(len(POINTS)))]
    assert len(found.ways) == len(ids) * (len(ids) - 1) // 2
    assert found.left_out.empty
    graph = nx.from_pandas_edgelist(found.ways, "from_id", "to_id", edge_attr=True)
    assert sorted(graph) == sorted(ids)
    # Each row is a shortest way already: no way over other places is shorter.
    for one, lengths in nx.all_pairs_dijkstra_path_length(graph, weight="distance_m"):
        for other, length in lengths.items():
            if one != other:
                assert length == pytest.approx(graph.edges[one, other]["distance_m"], rel=1e-12)
    assert found.ways.length.to_numpy() == pytest.approx(found.ways["distance_m"].to_numpy())
    areas = found.safe_water.set_index("care").geometry
    assert areas["idle"].buffer(1e-6).covers(areas["run"])
    running = found.ways[(found.ways["idle_m"] == 0.0)]
    assert len(running) > 10
    assert shapely.covers(areas["run"].buffer(1e-6), running.geometry.to_numpy()).all()
    island = shapely.Point(X0 + 650, Y0 + 650).buffer(60)
    assert shapely.distance(island, running.geometry.to_numpy()).min() >= KEEP_M


def test_legs_tell_what_they_pass(made):
    lake, water, hazards = made
    run = shortest_run(
        hold_frame(POINTS), lake.ramps, water, hazards=hazards, zones=lake.zones, depth=lake.depth
    )
    legs = run.legs[run.legs["part"] != "launch"]
    assert (legs["min_clearance_m"] > 0).all()
    assert (legs["nearest_hazard"].str.len() > 0).all()
    assert set(legs["hazard_side"]) <= {"port", "starboard", "ahead", "astern"}
    assert legs["hazard_at_m"].between(0.0, legs["distance_m"] + 1e-6).all()
    # Past a tree stump at 10 m with 3 m of position error, along a line west of it, it lies to starboard.
    one = shortest_run(
        hold_frame([(480, 300), (480, 700)], ["a", "b"]), lake.ramps, water, hazards=hazards.iloc[:0],
        zones=lake.zones, start="r1",
    ).legs  # fmt: skip
    between = one[(one["from_id"].isin(["a", "b"])) & (one["to_id"].isin(["a", "b"]))]
    assert len(between) == 1


@pytest.mark.parametrize("radius", [15.0, 60.0])
def test_round_corners_keep_the_clearance(made, radius):
    lake, water, hazards = made
    given = {"hazards": hazards, "zones": lake.zones, "depth": lake.depth}
    sharp = shortest_run(hold_frame(POINTS), lake.ramps, water, **given)
    round_ = shortest_run(hold_frame(POINTS), lake.ramps, water, **given, turning_radius_m=radius)
    assert list(sharp.stops["spot_id"]) == list(round_.stops["spot_id"])
    rows = round_.legs["part"] == "run"
    assert (round_.legs.loc[rows, "min_clearance_m"] >= KEEP_M + 6.096 - 1e-6).all()
    assert round_.legs["distance_m"].sum() >= sharp.legs["distance_m"].sum()
    turned = 0
    for line in round_.legs.geometry[rows]:
        step = np.diff(shapely.get_coordinates(line), axis=0)
        if len(step) > 1:
            bearing = np.arctan2(step[:, 1], step[:, 0])
            turn = np.abs((np.diff(bearing) + np.pi) % (2 * np.pi) - np.pi)
            turned += 1
            assert turn.max() < np.radians(10.0) + 1e-6
    assert turned >= 1


def test_failures_are_named(made):
    lake, water, hazards = made
    shut = hold_frame([*POINTS, (950, 950), (650, 650), (400, 700), (1500, 200)])
    shut.loc[0, ["status", "reason"]] = ["none", "no deep water near"]
    found = safe_ways(shut, lake.ramps, water, hazards=hazards, zones=lake.zones, depth=lake.depth)
    why = dict(zip(found.left_out["spot_id"], found.left_out["reason"], strict=True))
    assert why["s0"] == "no hold: no deep water near"
    assert "in a closed zone (dam)" in why["s8"]
    assert "off today's water" in why["s9"]
    assert "too thin even to idle" in why["s10"]
    assert "at least" in why["s10"]
    assert "off today's water" in why["s11"]
    assert set(found.ways["to_id"]) | set(found.ways["from_id"]) == {"r1", *(f"s{k}" for k in range(1, 8))}


def test_duplicate_stops_have_a_way_of_no_length(made):
    lake, water, hazards = made
    found = safe_ways(hold_frame([(200, 200), (200, 200), (800, 200)]), lake.ramps, water, hazards=hazards)
    same = found.ways[(found.ways["from_id"] == "s0") & (found.ways["to_id"] == "s1")]
    assert same["distance_m"].tolist() == [0.0]
    run = shortest_run(hold_frame([(200, 200), (200, 200), (800, 200)]), lake.ramps, water, hazards=hazards)
    assert len(run.stops) == 5


def test_hazards_that_cover_all_leave_no_ramp(made):
    lake, water, _ = made
    all_of_it = frame(
        [water.geometry.iloc[0].envelope], hazard_id=["x"], care=["idle"], reason=["drained"], least_depth_m=[0.0]
    )  # fmt: skip
    for ask in (safe_ways, shortest_run):
        with pytest.raises(NoSafeWay, match="ramp"):
            ask(hold_frame(POINTS), lake.ramps, water, hazards=all_of_it)


def test_ramps_out_of_use_are_left_out_and_none_at_all_is_an_error(made):
    lake, water, hazards = made
    two = gpd.GeoDataFrame(
        {"ramp_id": ["r1", "high"], "name": ["", ""], "min_level_m": [-3.0, 1.0]},
        geometry=[lake.ramps.geometry.iloc[0], shapely.Point(X0 + 45, Y0 + 500)],
        crs=CRS,
    )
    found = safe_ways(hold_frame(POINTS), two, water, hazards=hazards)
    assert "high" in set(found.left_out["spot_id"])
    with pytest.raises(NoSafeWay, match="The one ramp cannot be used"):
        safe_ways(hold_frame(POINTS), two.iloc[1:], water, hazards=hazards)
    with pytest.raises(UsageError, match="above 0"):
        safe_ways(hold_frame(POINTS), two, water, run_speed_mps=0.0)


def basin(*boxes):
    return frame([shapely.union_all([shapely.box(X0 + a, Y0 + b, X0 + c, Y0 + d) for a, b, c, d in boxes])],
                 water_id=["w"], area_m2=[1.0])  # fmt: skip


def ramp(x, y):
    return frame([shapely.Point(X0 + x, Y0 + y)], ramp_id=["r"], name=["Ramp"], min_level_m=[np.nan])


@pytest.mark.parametrize("clearance", [0.0, 4.0])
def test_waters_that_touch_in_a_point_are_apart(clearance):
    water = frame(
        [shapely.MultiPolygon([shapely.box(X0, Y0, X0 + 200, Y0 + 200), shapely.box(X0 + 200, Y0 + 200, X0 + 400, Y0 + 400)])],
        water_id=["w"], area_m2=[1.0],
    )  # fmt: skip
    found = safe_ways(
        hold_frame([(100, 45), (300, 300)]), ramp(50, 50), water, beam_m=0.0, fix_error_m=0.0,
        idle_clearance_m=clearance, clearance_m=clearance,
    )  # fmt: skip
    (reason,) = found.left_out["reason"]
    assert "in another water than the start" in reason
    assert set(found.ways["to_id"]) == {"s0"}


def test_strait_too_narrow_is_named_and_the_clearance_promised_opens_it():
    water = basin((0, 0, 300, 300), (290, 140, 510, 150), (500, 0, 800, 300))
    found = safe_ways(hold_frame([(100, 100), (650, 150)]), ramp(150, 60), water, idle_clearance_m=2.0)
    (reason,) = found.left_out["reason"]
    assert "strait 10 m (32.8 ft) wide" in reason
    promised = float(reason.split("keeping ")[1].split(" m")[0])
    opened = safe_ways(
        hold_frame([(100, 100), (650, 150)]), ramp(150, 60), water,
        beam_m=1.0, fix_error_m=0.0, idle_clearance_m=promised - 0.5,
    )  # fmt: skip
    assert opened.left_out.empty


def test_ramp_far_from_the_water_is_told():
    water = basin((0, 0, 300, 300))
    with pytest.raises(NoSafeWay, match="The one ramp cannot be used"):
        safe_ways(hold_frame([(100, 100)]), ramp(900, 150), water)
    with pytest.raises(NoSafeWay, match="begins"):
        shortest_run(hold_frame([(100, 100)]), ramp(900, 150), water)


def test_ways_tell_the_hours_that_allow_them_out_and_back(made):
    lake, water, hazards = made
    holds = hold_frame([(200, 200), (200, 800)])
    start = dt.datetime.fromisoformat("2031-05-17T06:00-05:00")
    winds = [2.0, 2.0, 8.0, 8.0, 2.0, 20.0]  # m/s out of the north; 20 m/s is over the limit of every leg
    hours = tuple(start + dt.timedelta(hours=k) for k in range(6))
    told = Forecast(hours, winds, [float("nan")] * 6, [0.0] * 6)
    exposure = wind_exposure(holds, water, forecast=told).exposure
    # 8 m/s raise 0.12 to 0.15 m over 500 to 800 m (Shore Protection Manual 1984, eq. 3-33): over 0.1 m on the bow.
    limits = {"head_limit_m": 0.1, "beam_limit_m": 9.0, "following_limit_m": 9.0}
    ways = safe_ways(holds, lake.ramps, water, hazards=hazards, exposure=exposure, **limits).ways
    north = ways[(ways["from_id"] == "s0") & (ways["to_id"] == "s1")].iloc[0]  # due north, into the wind
    assert (north["open_out_h"], north["open_back_h"]) == (3.0, 5.0)
    assert "head seas" in north["against_out"]
    assert "08:00" in north["against_out"]
    assert "head seas" not in north["against_back"]
    assert "wind" in north["against_back"]
    plain = safe_ways(holds, lake.ramps, water, hazards=hazards).ways
    assert plain.equals(ways[plain.columns])
