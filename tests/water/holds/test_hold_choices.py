"""Wind, sun, neighbours, several holds, tall cover and safe water, each against geometry."""

from __future__ import annotations

import datetime as dt
import re

import geopandas as gpd
import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose

from castshed.algorithms.boat_hold import boat_hold
from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import UsageError
from castshed.toolbox.water.holds.casting import find_holds, find_holds_apart
from castshed.toolbox.water.holds.deep_side import deep_sides
from castshed.toolbox.water.holds.hold_rules import Lie, Setting, Surroundings, shadow_cost
from castshed.toolbox.water.holds.hold_words import hold_reasons
from castshed.toolbox.water.holds.surroundings import NextStructures
from castshed.toolbox.water.holds.wind_cast import upwind_share, wind_shape, within_casts
from castshed.toolbox.water.level.spot_numbers import tall_cover
from castshed.toolbox.water.light.sun import sun_at, sun_over
from plain_rules import plain_rules

X0, Y0 = 500_000.0, 4_000_000.0
CRS = "EPSG:32615"
NOTHING = np.empty(0, dtype=object)


def surface(depth_of, half=80.0, cell=1.0):
    n = int(2 * half / cell)
    east = -half + (np.arange(n) + 0.5) * cell
    x, y = np.meshgrid(east, -east)
    depth = depth_of(x, y) + np.zeros_like(x)
    return DepthSurface(depth.astype("f4"), X0 - half, Y0 + half, cell, cell, CRS, 0.15)


def level_ground(x, y):
    return 6.0


def slope_east(x, y):
    return 10 + 0.08 * x


def at(*places):
    return np.array([shapely.Point(X0 + x, Y0 + y) for x, y in places], dtype=object)


def setting_of(lake, structures, *, around=None, **rules):
    around = around or Surroundings(structures, np.full(len(structures), 8.0), NOTHING, np.empty(0))
    return Setting(lake, 0.0, plain_rules(**rules), around)


def hold(lake, structures=None, *, around=None, **rules):
    structures = at((0, 0)) if structures is None else structures
    return find_holds(structures, setting_of(lake, structures, around=around, **rules))


def gap(a, b):
    return np.abs((np.asarray(a) - b + 180.0) % 360.0 - 180.0)


# Casts against the wind --------------------------------------------------------------------------------------


def test_a_cast_upwind_is_shorter_by_the_stated_factor_and_the_cosine():
    angle = np.array([0.0, 60.0, 90.0, 120.0, 180.0, np.nan])
    assert_allclose(upwind_share(angle, 0.6), [0.6, 0.8, 1.0, 1.0, 1.0, 1.0])  # 1 - 0.4 cos
    assert_allclose(upwind_share(angle, 1.0), 1.0)


@pytest.mark.parametrize("wind", [0.0, 33.0, 250.0])
def test_where_only_a_cast_straight_upwind_is_left_it_is_no_longer_than_the_factor_allows(wind):
    a = np.radians(wind)

    def lane(x, y):  # deep only downwind of the spot, in a lane 8 m wide
        along, across = -(x * np.sin(a) + y * np.cos(a)), x * np.cos(a) - y * np.sin(a)
        return np.where((np.abs(across) < 4) & (along > -6), 3.0, 0.5)

    lake = surface(lane)
    assert hold(lake).cast_m[0] == pytest.approx(21.3)
    for factor in (1.0, 0.8, 0.7, 0.6):
        found = hold(lake, wind_from_deg=wind, upwind_factor=factor)
        assert found.wind_angle_deg[0] < 15
        assert (
            found.cast_m[0] <= 27.4 * (1 - (1 - factor) * np.cos(np.radians(found.wind_angle_deg[0]))) + 1e-9
        )
        assert found.cast_m[0] >= min(21.3, 27.4 * factor) - 1e-9
    setting = setting_of(
        surface(lambda x, y: np.where(-y > 20, 3.0, 0.5)), at((0, 0)), wind_from_deg=0.0, upwind_factor=0.5
    )
    short = find_holds(at((0, 0)), setting)
    assert not short.found[0]
    said = hold_reasons(
        short,
        at((0, 0)),
        setting,
        names=["a"],
        bottom_m=np.full(1, np.nan),
        height_m=np.zeros(1),
        search_m=np.zeros(1),
    )
    assert said[0].endswith("; a cast of 27.4 m (89.9 ft) against the wind would allow one")


def test_the_outline_of_casts_in_the_wind_is_the_share_in_each_direction():
    shape = wind_shape(200.0, 0.6)
    outline = shapely.Polygon(shape)
    assert outline.convex_hull.area == pytest.approx(outline.area, rel=1e-12)
    for bearing in range(0, 360, 7):
        a = np.radians(bearing)
        ray = shapely.LineString([(0, 0), (2 * np.sin(a), 2 * np.cos(a))])
        # A boat at this bearing casts the other way.
        share = 1 - 0.4 * max(np.cos(np.radians(bearing + 180 - 200.0)), 0)
        assert ray.intersection(outline).length == pytest.approx(share, abs=1.5e-3)  # 72 corners
    line = np.array([shapely.LineString([(0, 0), (100, 40)]), shapely.Point(3, 4)], dtype=object)
    swept = within_casts(line, np.array([20.0, 20.0]), shape)
    steps = [
        shapely.affinity.translate(shapely.affinity.scale(outline, 20, 20, origin=(0, 0)), 100 * t, 40 * t)
        for t in np.linspace(0, 1, 400)
    ]
    assert swept[0].symmetric_difference(shapely.union_all(steps)).area < 0.002 * swept[0].area
    assert swept[1].area == pytest.approx(400 * outline.area)


# Sun ---------------------------------------------------------------------------------------------------------


def test_the_sun_stands_where_a_public_almanac_says():
    # London 51.5 N 0.1333 W, 2015-12-01 UTC, almanac values carried by the tests of package astral: civil dawn 07:04,
    # rise 07:43, noon 11:49, set 15:55, dusk 16:34. At rise and set the centre is 50 minutes of arc below the
    # horizon, at civil dawn and dusk 6 degrees, by definition. A minute of time is at most 0.25 degrees of height.
    def sun(hour, minute):
        return sun_at(dt.datetime(2015, 12, 1, hour, minute, tzinfo=dt.UTC), 51.5, -0.1333)

    for clock, height in (((7, 4), -6), ((7, 43), -50 / 60), ((15, 55), -50 / 60), ((16, 34), -6)):
        assert sun(*clock).height_deg == pytest.approx(height, abs=0.16)
    assert sun(11, 49).bearing_deg == pytest.approx(180.0, abs=0.25)
    assert sun(7, 43).bearing_deg < 180 < sun(15, 55).bearing_deg
    equinox = sun_at(
        dt.datetime(2026, 3, 20, 14, 46, tzinfo=dt.UTC), 0.0, 0.0
    )  # of 2026, to the minute (from memory)
    assert equinox.bearing_deg == pytest.approx(270.0, abs=0.05)
    west = dt.timezone(dt.timedelta(hours=-5))
    morning = dt.datetime(2026, 4, 18, 7, 30, tzinfo=west)
    assert sun_at(morning, 36.0, -93.0) == sun_at(morning.astimezone(dt.UTC), 36.0, -93.0)
    # 500 km east in zone 15 is its middle, 93 W.
    there = sun_over((X0, Y0, X0, Y0), CRS, "2026-04-18T07:30-05:00")
    assert_allclose(there, sun_at(morning, 36.144, -93.0), atol=0.01)


@pytest.mark.parametrize("text", ["2026-04-18T07:30", "yesterday", "2026-13-01T00:00+00:00"])
def test_a_time_without_a_zone_or_sense_is_refused(text):
    with pytest.raises(UsageError, match="zone"):
        sun_over((X0, Y0, X0, Y0), CRS, text)


def test_the_shadow_falls_on_the_spot_only_with_the_sun_behind_the_caster_and_low():
    def cost(boat_bearing, **rules):
        a = np.radians([boat_bearing])
        lie = Lie(np.zeros(1), np.zeros(1), np.sin(a), np.cos(a))
        return shadow_cost(lie, np.array([20.0]), plain_rules(**rules))[0]

    assert cost(90.0) == 0.0
    assert cost(90.0, sun_bearing_deg=90.0) == 1.0  # the boat between sun and spot
    assert cost(270.0, sun_bearing_deg=90.0) == 0.0
    assert cost(0.0, sun_bearing_deg=90.0) == 0.0
    # 10 degrees aside the spot lies 20 sin(10) = 3.47 m off the shadow: (1 - 2 * 3.47 / 20)^2.
    assert cost(80.0, sun_bearing_deg=90.0) == pytest.approx((1 - 2 * np.sin(np.radians(10))) ** 2)
    # A caster 2.5 m over the water throws 2.5 / tan(7.125 deg) = 20 m.
    assert cost(90.0, sun_bearing_deg=90.0, sun_height_deg=np.degrees(np.arctan(2.5 / 20))) == pytest.approx(
        1.0
    )
    assert cost(90.0, sun_bearing_deg=90.0, sun_height_deg=30.0) == 0.0
    assert cost(90.0, sun_bearing_deg=90.0, sun_height_deg=-2.0) == 0.0


def test_the_sun_turns_the_hold_off_its_line_on_a_slope_and_never_against_hard_rules():
    lake = surface(slope_east)
    assert gap(hold(lake).cast_bearing_deg[0], 270.0) < 0.01
    aside = hold(lake, sun_bearing_deg=90.0)
    assert 5 < gap(aside.cast_bearing_deg[0], 270.0) < 45
    assert gap(hold(lake, sun_bearing_deg=270.0).cast_bearing_deg[0], 270.0) < 0.01
    assert gap(hold(lake, sun_bearing_deg=90.0, sun_weight=0.0).cast_bearing_deg[0], 270.0) < 0.01


# Neighbours --------------------------------------------------------------------------------------------------


def test_a_structure_next_to_the_boat_counts_against_a_place_and_nothing_from_a_cast_off():
    lake = surface(slope_east)
    pair = at((0, 0), (30, 12))
    plain, apart = hold(lake, pair, next_weight=0.0), hold(lake, pair, next_weight=1.0)
    away = [np.hypot(f.x[0] - X0 - 30, f.y[0] - Y0 - 12) for f in (plain, apart)]
    assert plain.x[0] == pytest.approx(X0 + 21.3, abs=0.01)
    assert away[1] > away[0] + 1.0
    far = at((0, 0), (21.3 + 27.5, 0))
    assert hold(lake, far, next_weight=1.0).x[0] == pytest.approx(X0 + 21.3, abs=0.01)


def test_a_flat_that_holds_the_spot_is_no_neighbour_of_it():
    spots = np.array([shapely.Point(X0, Y0), shapely.box(X0 - 60, Y0 - 60, X0 + 60, Y0 + 60)], dtype=object)
    found = hold(surface(slope_east), spots, next_weight=1.0)
    assert found.x[0] == pytest.approx(X0 + 21.3, abs=0.01)


# Several holds -----------------------------------------------------------------------------------------------


def test_on_a_slope_further_holds_lie_at_the_stated_angle_on_either_side():
    structures = at((0, 0))
    tables = find_holds_apart(
        structures, setting_of(surface(slope_east), structures, most_holds=3, apart_deg=60.0)
    )
    assert len(tables) == 3
    off = np.array([gap(t.cast_bearing_deg[0], 270.0) for t in tables])
    assert off[0] < 0.01
    # Rays stand 5 degrees apart; the deep side draws the others as near as the angle allows.
    assert_allclose(off[1:], 60.0, atol=5.0)
    assert (off[1:] >= 60.0 - 0.01).all()
    assert gap(tables[1].cast_bearing_deg[0], tables[2].cast_bearing_deg[0]) >= 60.0
    first = find_holds(structures, setting_of(surface(slope_east), structures, most_holds=3))
    assert first.x[0] == tables[0].x[0]


def test_there_are_no_more_holds_than_the_angle_and_the_water_leave_room_for():
    structures = at((0, 0))
    open_water = find_holds_apart(
        structures, setting_of(surface(level_ground), structures, most_holds=9, apart_deg=90.0)
    )
    assert sum(t.found[0] for t in open_water) <= 4
    assert sum(t.found[0] for t in open_water) >= 3
    lane = surface(lambda x, y: np.where((np.abs(y) < 6) & (x > -8), 3.0, 0.5))
    assert [
        bool(t.found[0]) for t in find_holds_apart(structures, setting_of(lane, structures, most_holds=4))
    ][:2] == [True, False]


def test_rows_are_numbered_by_spot_and_a_spot_without_a_hold_has_one_row(lake):
    holds, lines = boat_hold(lake.spots, lake.depth, most_holds=3, apart_deg=50.0)
    numbers = {spot: rows["hold_no"].tolist() for spot, rows in holds.groupby("spot_id", sort=False)}
    assert list(numbers) == lake.spots["spot_id"].tolist()
    assert numbers["island"] == [0]
    assert numbers["west"] == [1, 2, 3]
    assert len(lines) == (holds["status"] == "ok").sum()
    assert holds["reason"].str.len().min() > 10
    west = holds[holds["spot_id"] == "west"]
    assert west["reason"].iloc[1].startswith("another side: ")
    first, _ = boat_hold(lake.spots, lake.depth)
    assert first["geometry"].geom_equals(holds[holds["hold_no"] < 2].geometry.reset_index(drop=True)).all()


# Tall cover --------------------------------------------------------------------------------------------------


def test_what_stands_out_of_the_water_today():
    places = at((0, 0), (50, 0), (100, 0), (150, 0), (200, 0), (250, 0))
    kinds = ["brush", "brush", "standing_timber", "dock", "standing_timber", "hump"]
    areas, rows = tall_cover(
        places, kinds, bottom_m=np.array([3.0, 3.0, 5.0, np.nan, 5.0, -1.0]),
        height_m=np.array([3.0, 2.9, np.nan, np.nan, 2.0, 0.0]), radius_m=3.0,
    )  # fmt: skip
    assert rows.tolist() == [0, 2, 3]  # a tree 2 m tall in 5 m is under water, a dry hump is land
    assert_allclose(shapely.area(areas), np.pi * 9, rtol=0.002)
    rim = shapely.get_coordinates(shapely.buffer(places[0], 3.0, quad_segs=500))
    assert shapely.covers(areas[0].buffer(1e-9), shapely.points(rim)).all()  # no less than the circle


def test_no_cast_goes_over_tall_cover_but_the_cover_itself_is_fished():
    lake = surface(slope_east)
    pair = at((0, 0), (10, 0))
    screens = shapely.buffer(pair[1:], 3.0)
    around = Surroundings(pair, np.full(2, 3.0), NOTHING, np.empty(0), screens, np.array([1]))
    found = hold(lake, pair, around=around, next_weight=0.0)
    line = shapely.LineString([(found.x[0], found.y[0]), (X0, Y0)])
    assert not line.intersects(screens[0])
    # The tangent to a circle of 3 m at 10 m lies asin(0.3) = 17.5 degrees off.
    assert 17.2 <= gap(found.cast_bearing_deg[0], 270.0) < 22.5
    assert gap(found.cast_bearing_deg[1], 270.0) < 0.01  # the cover is no screen before itself
    within = at((8, 0), (10, 0))
    inside = Surroundings(within, np.full(2, 3.0), NOTHING, np.empty(0), screens, np.array([1]))
    assert gap(hold(lake, within, around=inside, next_weight=0.0).cast_bearing_deg[0], 270.0) < 0.01


def test_tall_cover_counts_by_todays_level(lake):
    spots = (
        lake.spots.iloc[[1, 1]]
        .reset_index(drop=True)
        .assign(spot_id=["a", "b"], kind="brush", height_m=[0.5, 4.5])
    )
    spots = spots.set_geometry([spots.geometry[0], shapely.affinity.translate(spots.geometry[0], 12.0, 0.0)])
    spots["depth_m"] = np.nan  # 5 m and 5.6 m deep at normal level
    for level, hidden in ((0.0, False), (-1.2192, True)):
        lines = boat_hold(
            spots, lake.depth, level_m=level, footprint_m=2.0, next_weight=0.0, fix_error_m=0.0
        ).cast_lines
        crosses = lines.geometry[0].intersects(spots.geometry[1].buffer(1.9))
        assert crosses != hidden


# Safe water --------------------------------------------------------------------------------------------------


def test_a_hold_lies_where_safe_water_leads_from_a_ramp(lake):
    west = lake.spots.iloc[[1]].reset_index(drop=True)
    water = gpd.GeoDataFrame({"water_id": ["w"]}, geometry=lake.shoreline.geometry.to_numpy(), crs=lake.crs)
    plain = boat_hold(west, lake.depth).holds.geometry[0]
    assert boat_hold(west, lake.depth, water=water, ramps=lake.ramps).holds.geometry[0].equals(plain)
    wall = plain.buffer(90).exterior.buffer(3)  # a ring of thin water round the place
    ring = gpd.GeoDataFrame(
        {"hazard_id": ["h"], "care": ["idle"], "reason": ["shoal"], "least_depth_m": [0.1]},
        geometry=[wall],
        crs=lake.crs,
    )
    shut = boat_hold(west, lake.depth, water=water, ramps=lake.ramps, hazards=ring).holds
    assert shut["status"][0] == "none"
    assert "no safe water leads there from a ramp" in shut["reason"][0]
    assert shut["reason"][0].endswith("only a place that no safe water leads to is left")
    assert (
        boat_hold(west, lake.depth, water=water, hazards=ring).holds["status"][0] == "ok"
    )  # no ramp asked for
    low = lake.ramps.assign(min_level_m=1.0)
    assert boat_hold(west, lake.depth, water=water, ramps=low).holds["status"][0] == "none"
    with pytest.raises(UsageError, match="--water"):
        boat_hold(west, lake.depth, ramps=lake.ramps)


# Errors of level and marks, and what is told -----------------------------------------------------------------


def test_the_error_of_the_level_widens_the_water_that_is_needed():
    shallow = surface(lambda x, y: 1.3)
    assert hold(shallow, level_error_m=0.19).found[0]  # 0.6 + 0.45 + hypot(0.15, 0.19) = 1.292
    assert not hold(shallow, level_error_m=0.21).found[0]  # 1.308


def test_margin_is_what_is_spare_in_the_drift_circle():
    found = hold(surface(slope_east))
    # Shallowest at its inner edge: 10 + 0.08 (21.3 - 3); needed 0.6 + 0.45 + 0.15.
    assert found.margin_m[0] == pytest.approx(10 + 0.08 * 18.3 - 1.2, abs=0.01)


def test_position_errors_are_joined_in_quadrature(lake):
    spots = lake.spots.iloc[[1, 2]].reset_index(drop=True).assign(position_error_m=[4.0, np.nan])
    holds = boat_hold(spots, lake.depth, fix_error_m=3.0, spot_error_m=12.0).holds
    assert_allclose(holds["search_radius_m"], [5.0, np.hypot(12.0, 3.0)])
    vague = boat_hold(spots.assign(position_error_m=30.0), lake.depth).holds
    assert "look for the spot on the sounder first" in vague["reason"][0]
    gentle = surface(lambda x, y: 10 + 0.02 * x)
    marks = gpd.GeoDataFrame(
        {"spot_id": ["a", "b"], "position_error_m": [0.0, 4.0]}, geometry=list(at((0, 0), (21.3, 0))), crs=CRS
    )
    for fix_m in (0.0, 3.0):
        place = boat_hold(marks, gentle, fix_error_m=fix_m, next_weight=0.0).holds.geometry[0]
        assert place.distance(marks.geometry[1]) >= 3.048 + np.hypot(4.0, fix_m)


def test_directionality_is_one_on_a_clean_slope_and_nothing_on_level_ground():
    def told(depth_of, error=0.15):
        rng = np.random.default_rng(4)
        x, y = rng.uniform(-27, 27, (2, 4000))
        one = np.zeros(4000, dtype=np.intp)
        return deep_sides(
            x, y, depth_of(x, y) + np.zeros(4000), one, 1, cast_m=21.3, error_m=error
        ).directionality[0]

    assert told(lambda x, y: 5 + 0.1 * y, error=0.0) == pytest.approx(1.0)
    assert told(lambda x, y: 5.0) == 0.0
    assert told(lambda x, y: 3 + 0.1 * np.hypot(x, y)) < 0.01
    assert told(lambda x, y: 5 + 0.02 * y) > told(lambda x, y: 5 + 0.005 * y)
    # Variance by the plane over all: spread 54 m: var 54^2/12 * 0.1^2 = 2.43; with roughness of 1 m: 2.43 / 3.43.
    noisy = told(lambda x, y: 5 + 0.1 * y + np.random.default_rng(5).standard_normal(4000), error=0.0)
    assert noisy == pytest.approx(2.43 / 3.43, abs=0.03)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"upwind_factor": 0.4}, "share from 0.5 to 1"),
        ({"most_holds": 0}, "whole number"),
        ({"apart_deg": 0.0}, "angle above 0"),
        ({"apart_deg": 200.0}, "angle above 0"),
        ({"sun_height_deg": 95.0}, "-90 to 90"),
        ({"next_weight": -1.0}, "0 or more"),
        ({"level_error_m": np.nan}, "finite"),
    ],
)
def test_choices_that_make_no_sense_are_refused(wrong, words):
    with pytest.raises(UsageError, match=re.escape(words)):
        plain_rules(**wrong)


def test_time_and_place_of_the_sun_are_not_both_taken(lake):
    with pytest.raises(UsageError, match="not both"):
        boat_hold(lake.spots, lake.depth, when="2026-04-18T07:30-05:00", sun_from_deg=90.0)


# Laws --------------------------------------------------------------------------------------------------------


def rough_ground(seed):
    rng = np.random.default_rng(seed)
    turn, phase = rng.normal(0, 0.06, (6, 2)), rng.random(6) * 6.3
    noise = rng.normal(0, 0.05, (160, 160))

    def depth_of(x, y):
        waves = sum(np.sin(k[0] * x + k[1] * y + p) for k, p in zip(turn, phase, strict=True))
        return 4 + 0.03 * x + waves + noise

    return surface(depth_of)


CROWD = np.concatenate(
    [
        at((0, 0), (14, -9), (-30, 21)),
        np.array(
            [
                shapely.LineString([(X0 - 40, Y0 - 35), (X0 + 25, Y0 - 50)]),
                shapely.box(X0 + 20, Y0 + 15, X0 + 38, Y0 + 30),
            ],
            dtype=object,
        ),
    ]
)


@pytest.mark.parametrize("seed", range(4))
def test_asking_for_more_holds_keeps_those_there_were(seed):
    lake = rough_ground(seed)
    few, many = (
        find_holds_apart(
            CROWD, setting_of(lake, CROWD, most_holds=n, apart_deg=45.0, wind_from_deg=40.0 * seed)
        )
        for n in (2, 5)
    )
    assert sum(table.found.sum() for table in many) > sum(table.found.sum() for table in few)
    for one, other in zip(few, many, strict=False):
        assert one.found.tolist() == other.found.tolist()
        assert_allclose(one.x, other.x)
        assert_allclose(one.y, other.y)


@pytest.mark.parametrize("size", [1, 2])
def test_how_many_structures_are_worked_on_at_a_time_changes_nothing(monkeypatch, size):
    setting = setting_of(rough_ground(9), CROWD, most_holds=3, wind_from_deg=200.0, sun_bearing_deg=80.0)
    whole = find_holds_apart(CROWD, setting)
    monkeypatch.setattr("castshed.toolbox.water.holds.casting._CHUNK", size)
    for one, other in zip(whole, find_holds_apart(CROWD, setting), strict=True):
        for name, values in vars(one).items():
            assert_allclose(np.nan_to_num(values), np.nan_to_num(vars(other)[name]), err_msg=name)


@pytest.mark.parametrize("seed", range(3))
def test_mirroring_lake_wind_and_sun_mirrors_the_hold(seed):
    lake, mark = rough_ground(seed), at((0, 0))
    mirrored = lake.with_depth(lake.depth_m[:, ::-1])
    plain = hold(lake, mark, wind_from_deg=70.0, sun_bearing_deg=140.0)
    other = hold(mirrored, mark, wind_from_deg=290.0, sun_bearing_deg=220.0)
    assert plain.found[0]
    assert other.x[0] - X0 == pytest.approx(X0 - plain.x[0], abs=1e-5)
    assert other.y[0] == pytest.approx(plain.y[0], abs=1e-5)


def test_the_gap_to_the_next_structure_is_that_of_all_pairs(monkeypatch):
    rng = np.random.default_rng(3)
    points = shapely.points(rng.uniform(0, 200, (60, 2)))
    shapes = points.copy()
    shapes[::3] = shapely.buffer(points[::3], 4.0)
    shapes[1::6] = shapely.linestrings([[(p.x, p.y), (p.x + 20, p.y + 9)] for p in points[1::6]])
    shapes[5] = shapely.box(
        points[10].x - 6, points[10].y - 6, points[10].x + 6, points[10].y + 6
    )  # holds number 10
    rows = np.arange(60)
    fished = rng.integers(0, 60, 500)
    fished[fished == 5] = 10  # the box lies elsewhere
    x, y = (
        shapely.get_x(points)[fished] + rng.normal(0, 15, 500),
        shapely.get_y(points)[fished] + rng.normal(0, 15, 500),
    )
    expected = np.full(500, np.inf)
    for k in range(500):
        mine = shapes[fished[k]]
        for other in np.delete(rows, fished[k]):
            if not (shapes[other].geom_type == "Polygon" and shapes[other].covers(mine)):
                expected[k] = min(expected[k], shapes[other].distance(shapely.Point(x[k], y[k])))
    for most in (1_000_000, 7):
        monkeypatch.setattr("castshed.toolbox.water.holds.surroundings._MOST_PAIRS", most)
        gaps = NextStructures.build(shapes, rows, shapes, 120.0).gap_m(fished, x, y, 30.0)
        near = expected <= 30.0
        assert_allclose(gaps[near], expected[near], atol=1e-9)
        assert (gaps[~near] > 30.0).all()
    assert 50 < near.sum() < 500
    assert np.isinf(
        NextStructures.build(shapes[:1], rows[:1], shapes[:1], 9.0).gap_m(rows[:1], x[:1], y[:1], 9.0)
    )[0]
