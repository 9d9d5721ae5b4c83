"""Where the boat sits, against geometry: slopes, ridges, walls, pockets, level ground, neighbours, edges of data."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import UsageError
from castshed.toolbox.water.holds.casting import find_holds
from castshed.toolbox.water.holds.deep_side import deep_sides
from castshed.toolbox.water.holds.hold_rules import Setting, Surroundings
from castshed.toolbox.water.holds.hold_words import hold_reasons
from castshed.toolbox.water.holds.rays import cast_rays
from castshed.toolbox.water.level.least_depth import least_depth_along, least_depth_inside
from castshed.toolbox.water.structure.humps import aim_at_edges, hump_crowns
from long_tests import as_many
from plain_rules import plain_rules

X0, Y0 = 500_000.0, 4_000_000.0
NOTHING = np.empty(0, dtype=object)


def surface(depth_of, *, half=80.0, cell=1.0, noise=0.0, seed=0, error=0.15):
    """A square lake about (X0, Y0); depth_of(east, north) in metres from there."""
    n = int(2 * half / cell)
    east = -half + (np.arange(n) + 0.5) * cell
    x, y = np.meshgrid(east, -east)
    depth = depth_of(x, y) + np.zeros_like(x)
    if noise:
        depth = depth + noise * np.random.default_rng(seed).standard_normal(x.shape)
    return DepthSurface(depth.astype("f4"), X0 - half, Y0 + half, cell, cell, "EPSG:32615", error)


def setting_of(lake, structures, *, level=0.0, hazards=NOTHING, radius=(), clear=8.0, **rules):
    around = Surroundings(structures, np.full(len(structures), clear), hazards, np.array(radius, dtype=float))
    return Setting(lake, level, plain_rules(**rules), around)


def at(*places):
    return np.array([shapely.Point(X0 + x, Y0 + y) for x, y in places], dtype=object)


def hold(lake, structures=None, **options):
    structures = at((0, 0)) if structures is None else structures
    bottom, height = options.pop("bottom", None), options.pop("height", None)
    return find_holds(structures, setting_of(lake, structures, **options), bottom_m=bottom, height_m=height)


def bearing_gap(a, b):
    return np.abs((np.asarray(a) - b + 180.0) % 360.0 - 180.0)


def slope_towards(bearing_deg, slope=0.08, middle=10.0):
    a = np.radians(bearing_deg)
    return lambda x, y: middle + slope * (x * np.sin(a) + y * np.cos(a))


# The deep side -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("bearing", np.arange(24) * 15.0 + 0.37)
def test_on_a_plane_slope_the_hold_lies_straight_down_slope_at_the_chosen_cast(bearing):
    found = hold(surface(slope_towards(bearing)), at((0.3, -0.2)))
    assert bearing_gap(found.cast_bearing_deg[0], bearing + 180) < 0.01
    assert bearing_gap(found.deep_bearing_deg[0], bearing) < 0.01
    assert found.cast_m[0] == 21.3
    a = np.radians(bearing)
    assert found.x[0] == pytest.approx(X0 + 0.3 + 21.3 * np.sin(a), abs=0.01)
    assert found.y[0] == pytest.approx(Y0 - 0.2 + 21.3 * np.cos(a), abs=0.01)
    assert found.fall_m[0] == pytest.approx(0.08 * 21.3, abs=1e-4)
    assert found.depth_m[0] == pytest.approx(10 + 0.08 * (21.3 + 0.3 * np.sin(a) - 0.2 * np.cos(a)), abs=1e-3)


def deepest_cell_bearing(lake, x, y):
    """The rule of thumb to beat: towards the deepest cell within a cast."""
    dx, dy = np.meshgrid(lake.xs - x, lake.ys - y)
    off = np.hypot(dx, dy)
    best = np.where((off >= 12.2) & (off <= 27.4), lake.depth_m, -np.inf).argmax()
    return np.degrees(np.arctan2(dx.flat[best], dy.flat[best]))


def hold_errors(depth_of_along_across, noise, seeds=120):
    """Distance of the hold, and of the one by the deepest cell, from the place straight off the deep side."""
    ours, rival = [], []
    for seed in range(seeds):
        bearing, dx, dy = np.random.default_rng(1000 + seed).random(3) * (360.0, 1.0, 1.0)
        a = np.radians(bearing)

        def depth_of(x, y, a=a, dx=dx, dy=dy):
            x, y = x - dx, y - dy
            return depth_of_along_across(x * np.sin(a) + y * np.cos(a), x * np.cos(a) - y * np.sin(a))

        lake = surface(depth_of, half=40, noise=noise, seed=seed)
        found = hold(lake, at((dx, dy)))
        true_x, true_y = X0 + dx + 21.3 * np.sin(a), Y0 + dy + 21.3 * np.cos(a)
        ours.append(np.hypot(found.x[0] - true_x, found.y[0] - true_y))
        other = np.radians(deepest_cell_bearing(lake, X0 + dx, Y0 + dy))
        rival.append(
            np.hypot(X0 + dx + 21.3 * np.sin(other) - true_x, Y0 + dy + 21.3 * np.cos(other) - true_y)
        )
    return np.array(ours), np.array(rival)


def test_roughness_on_an_eight_per_cent_slope_moves_the_hold_less_than_the_deepest_cell_does():
    ours, rival = hold_errors(lambda u, v: 10 + 0.08 * u, noise=0.1)
    assert np.median(ours) <= 0.5  # a prototype gave 0.47 m, and 2.8 m by the deepest cell
    assert np.percentile(ours, 95) <= 1.4
    assert np.median(rival) > 4 * np.median(ours)


def test_off_a_ridge_tip_the_hold_stays_on_the_axis_where_the_deepest_cell_falls_to_a_flank():
    def ridge(u, v):
        flank = 0.15 * np.abs(v) * np.exp(-np.maximum(u, 0) / 60)
        return 4 + 0.05 * u + 0.02 * np.maximum(u, 0) + flank

    ours, rival = hold_errors(ridge, noise=0.05)
    assert np.median(ours) <= 0.5  # a prototype gave 0.35 m, and 28 m by the deepest cell
    assert np.percentile(ours, 95) <= 1.5
    assert np.median(rival) > 10


def test_noise_without_a_slope_is_rarely_taken_for_a_deep_side():
    clear = [
        not np.isnan(hold(surface(lambda x, y: 6, half=40, noise=0.1, seed=s)).deep_bearing_deg[0])
        for s in range(60)
    ]
    assert sum(clear) <= 3


def test_a_plane_needs_samples_that_spread():
    line = np.linspace(0, 40, 30)
    one_group = np.zeros(30, dtype=np.intp)
    in_line = deep_sides(line, 2 * line, 5 + line, one_group, 1, cast_m=20, error_m=0.1)
    few = deep_sides(line[:5], line[:5] ** 2, line[:5], one_group[:5], 1, cast_m=20, error_m=0.1)
    none = deep_sides(line[:0], line[:0], line[:0], one_group[:0], 2, cast_m=20, error_m=0.1)
    assert not in_line.clear.any()
    assert not few.clear.any()
    assert none.clear.tolist() == [False, False]
    assert np.isnan(none.bearing_deg).all()


# Wind and level ground ---------------------------------------------------------------------------------------


def test_on_level_ground_no_side_is_deep_and_the_wind_decides():
    lake = surface(lambda x, y: 6)
    structures = at((0, 0))
    for wind in (0.0, 72.5, 200.0):
        setting = setting_of(lake, structures, wind_from_deg=wind)
        found = find_holds(structures, setting)
        assert np.isnan(found.deep_bearing_deg[0])
        # 60 degrees is the angle the soft rule states: across the bow, neither upwind nor downwind.
        assert found.wind_angle_deg[0] == pytest.approx(60.0, abs=0.01)
        assert found.cast_m[0] == 21.3
        said = hold_reasons(
            found, structures, setting, names=["a"], bottom_m=np.array([np.nan]), height_m=np.array([0.0]),
            search_m=np.array([5.0]),
        )  # fmt: skip
        assert said == ["level ground, no deep side: the wind decides"]


@pytest.mark.parametrize(
    ("bottom", "words"),
    [
        (
            lambda x, y: 3 + 0.1 * np.hypot(x, y),
            "falls away on all sides",
        ),  # a cone: 2 m of fall in a cast of 20
        (
            lambda x, y: 6 + 0.004 * y,
            "level ground, no deep side",
        ),  # 0.1 m in a cast, less than the depth error
        (
            lambda x, y: 6 + 0.2 * np.abs(x) - 0.2 * np.abs(y),
            "uneven, no side is clearly the deep one",
        ),  # a saddle
    ],
    ids=["cone", "level", "saddle"],
)
def test_where_no_side_is_the_deep_one_the_reason_says_how_the_bottom_lies(bottom, words):
    """By construction: which way each of these bottoms falls is read off its formula."""
    structures = at((0, 0))
    setting = setting_of(surface(bottom), structures, wind_from_deg=200.0)
    found = find_holds(structures, setting)
    assert found.found[0]
    said = hold_reasons(
        found, structures, setting, names=["a"], bottom_m=np.array([np.nan]), height_m=np.array([0.0]),
        search_m=np.array([5.0]),
    )  # fmt: skip
    assert said == [f"{words}: the wind decides"]


def test_round_a_cone_all_sides_are_alike():
    found = hold(surface(lambda x, y: 3 + 0.1 * np.hypot(x, y)), wind_from_deg=310.0)
    assert np.isnan(found.deep_bearing_deg[0])
    assert found.wind_angle_deg[0] == pytest.approx(60.0, abs=0.01)


@pytest.mark.parametrize("wind", [0.0, 45.0, 90.0, 135.0, 180.0, 225.0, 270.0, 315.0])
def test_wind_swings_the_hold_no_more_than_thirty_degrees_off_the_deep_side(wind):
    found = hold(surface(slope_towards(100.0)), wind_from_deg=wind)
    # Two vectors of length 1 and 0.5: the sum turns from the first by at most asin(0.5).
    assert bearing_gap(found.cast_bearing_deg[0], 280.0) <= 30.0 + 0.05
    angle = bearing_gap(found.cast_bearing_deg[0], wind)
    assert found.wind_angle_deg[0] == pytest.approx(angle, abs=1e-6)


def test_wind_turns_the_cast_away_from_straight_upwind():
    calm = hold(surface(slope_towards(180.0)))
    windy = hold(surface(slope_towards(180.0)), wind_from_deg=0.0)
    assert bearing_gap(calm.cast_bearing_deg[0], 0.0) < 0.01
    assert windy.wind_angle_deg[0] > 15


# Land, walls, pockets, dry ground, edges ---------------------------------------------------------------------


def test_a_wall_on_the_deep_side_is_not_cast_over():
    def walled(x, y):  # deep to the east; a dry bar 2 m wide from y -40 to 8, 10 m off
        bar = (np.abs(x - 10) < 1) & (y < 8) & (y > -40)
        return np.where(bar, -1.0, 6 + 0.08 * x)

    lake = surface(walled)
    found = hold(lake)
    steps = np.linspace(0, 1, 2000)
    depth = lake.at(
        X0 + steps * (found.x[0] - X0),
        Y0 + steps * (found.y[0] - Y0),
    )
    assert found.found[0]
    assert (depth > 0).all()
    assert bearing_gap(found.cast_bearing_deg[0], 270.0) > 30  # straight down-slope is shut
    assert found.x[0] > X0  # round the end of the bar, still on the deep side


def test_an_island_on_the_deep_side_moves_the_hold_just_past_it():
    lake = surface(lambda x, y: np.where(np.hypot(x - 21.3, y) < 5, -2.0, 6 + 0.08 * x))
    found = hold(lake)
    assert found.found[0]
    off = np.hypot(found.x[0] - X0 - 21.3, found.y[0] - Y0)
    assert 8 <= off < 14  # island of 5 m and drift circle of 3 m stay clear


def test_in_a_pocket_the_hold_lies_in_its_mouth():
    def pocket(x, y):  # a V of water that opens to the south, land either side of 35 degrees
        inside = np.abs(x) < np.tan(np.radians(35)) * (12 - y)
        return np.where(inside, 3 + 0.05 * (12 - y), -2.0)

    found = hold(surface(pocket))
    assert bearing_gap(found.cast_bearing_deg[0], 0.0) < 1.0
    assert found.y[0] < Y0 - 12


def test_a_structure_in_a_hole_gets_no_hold_on_higher_ground():
    lake = surface(lambda x, y: 8 - 0.1 * np.hypot(x, y))
    assert not hold(lake).found[0]
    # Brush 3 m tall in the hole: the boat only has to be over ground deeper than its top.
    assert hold(lake, height=np.array([3.0])).found[0]


def test_a_structure_on_dry_ground_gets_no_hold_and_the_reason_says_by_how_much():
    lake = surface(lambda x, y: -0.7 + 0.1 * np.maximum(np.hypot(x, y) - 5, 0))
    structures = at((0, 0))
    setting = setting_of(lake, structures)
    found = find_holds(structures, setting)
    said = hold_reasons(
        found, structures, setting, names=["a"], bottom_m=np.full(1, np.nan), height_m=np.zeros(1),
        search_m=np.zeros(1),
    )  # fmt: skip
    assert not found.found[0]
    assert said == ["dry today: the water would have to rise 0.7 m (2.3 ft) to reach it"]


def test_a_structure_at_the_very_edge_of_the_water_says_so():
    assert reasons(surface(lambda x, y: np.maximum(0.2 * x, -1.0)), at((0, 0))) == [
        "dry today: at the very edge of the water"
    ]


def test_a_structure_awash_is_cast_to():
    found = hold(surface(lambda x, y: 0.05 + 0.1 * np.hypot(x, y)))
    assert found.found[0]
    assert found.depth_m[0] >= 0.6 + 0.45 + 0.15


def test_beyond_the_edge_of_data_there_is_no_hold():
    lake = surface(slope_towards(90.0), half=80)
    close_to_edge = hold(lake, at((70, 0)))
    assert close_to_edge.found[0]
    assert close_to_edge.x[0] + 3.0 <= X0 + 80
    unknown = surface(lambda x, y: np.where(x > 15, np.nan, 10 + 0.08 * x))
    held = hold(unknown)
    assert held.found[0]
    assert held.x[0] + 3.0 <= X0 + 15
    assert not hold(lake, at((200, 0))).found[0]


def test_unknown_depth_in_the_line_of_cast_blocks_it():
    lake = surface(lambda x, y: np.where((x > 8) & (x < 10), np.nan, 10 + 0.08 * x))
    found = hold(lake)
    assert found.found[0]
    assert found.x[0] < X0 + 8


def test_today_counts_not_the_chart():
    lake = surface(lambda x, y: 2.4)
    assert hold(lake).found[0]
    assert not hold(lake, level=-4 * 0.3048).found[0]  # four feet down leaves 1.18 m where 1.2 m is needed
    assert hold(lake, level=-1.19).found[0]


# Neighbours and hazards --------------------------------------------------------------------------------------


def test_a_hold_keeps_off_a_second_structure_within_the_cast():
    lake = surface(slope_towards(90.0))
    structures = at((0, 0), (21.3, 0))
    found = hold(lake, structures)
    alone = hold(lake)
    assert alone.x[0] == pytest.approx(X0 + 21.3, abs=0.01)
    assert found.found.all()
    for row, other in ((0, 1), (1, 0)):
        away = np.hypot(found.x[row] - structures[other].x, found.y[row] - structures[other].y)
        assert away >= 8.0
    assert np.hypot(found.x[0] - X0, found.y[0] - Y0) >= 12.2 - 1e-9


def test_a_polygon_that_holds_the_whole_spot_is_no_neighbour_of_it():
    lake = surface(slope_towards(90.0))
    stump, flat = shapely.Point(X0, Y0), shapely.box(X0 - 50, Y0 - 50, X0 + 50, Y0 + 50)
    half = shapely.box(X0 + 5, Y0 - 50, X0 + 50, Y0 + 50)
    assert hold(lake, np.array([stump, flat], dtype=object)).x[0] == pytest.approx(X0 + 21.3, abs=0.01)
    gentle = surface(slope_towards(90.0, slope=0.02))
    beside = hold(gentle, np.array([stump, half], dtype=object))
    assert shapely.distance(shapely.Point(beside.x[0], beside.y[0]), half) >= 8.0


def test_the_drift_circle_keeps_off_hazards_by_their_radius():
    lake = surface(slope_towards(90.0))
    found = hold(lake, hazards=at((21.3, 2)), radius=[6.0])
    assert np.hypot(found.x[0] - X0 - 21.3, found.y[0] - Y0 - 2) > 3.0 + 6.0


def test_the_drift_circle_stays_over_deep_enough_water():
    # Deep enough only in a trench 8 m wide to the east: a circle of 3 m fits, one of 4.5 m does not.
    lake = surface(lambda x, y: np.where((np.abs(y) <= 4) & (x > -6), 3.0, 0.5))
    assert hold(lake).found[0]
    assert not hold(lake, drift_m=4.5).found[0]


# Lines, polygons, humps --------------------------------------------------------------------------------------


@pytest.mark.parametrize("bearing", [0.0, 33.0, 90.0, 161.0])
def test_a_straight_ledge_is_held_beside_its_middle_on_the_deep_side(bearing):
    a = np.radians(bearing)
    along = np.array([np.cos(a), -np.sin(a)])
    ledge = shapely.LineString([(X0, Y0) - 60 * along, (X0, Y0) + 60 * along])
    found = hold(surface(slope_towards(bearing), half=120), np.array([ledge], dtype=object))
    assert bearing_gap(found.cast_bearing_deg[0], bearing + 180) < 0.05
    assert np.hypot(found.aim_x[0] - X0, found.aim_y[0] - Y0) < 1.5
    assert found.cast_m[0] == 21.3


def test_a_ledge_whose_middle_is_shut_is_held_beside_another_part():
    def shut(x, y):
        return np.where((np.abs(x) < 25) & (y < -6), -1.0, 8 - 0.08 * y)

    ledge = shapely.LineString([(X0 - 100, Y0), (X0 + 100, Y0)])
    found = hold(surface(shut, half=140), np.array([ledge], dtype=object))
    assert found.found[0]
    assert abs(found.aim_x[0] - X0) > 25
    assert found.y[0] < Y0 - 12


def test_each_stretch_of_a_ring_shaped_ledge_has_its_own_deep_side():
    ring = shapely.Point(X0, Y0).buffer(70, quad_segs=32).exterior
    ledge = shapely.LineString(ring.coords)
    found = hold(surface(lambda x, y: 2 + 0.08 * np.hypot(x, y), half=140), np.array([ledge], dtype=object))
    assert np.hypot(found.x[0] - X0, found.y[0] - Y0) > 70 + 12  # outside, where it is deeper
    assert not np.isnan(found.deep_bearing_deg[0])


@pytest.mark.parametrize("bearing", [12.0, 135.0, 250.0])
def test_a_polygon_is_aimed_at_on_its_nearest_edge(bearing):
    patch = shapely.affinity.rotate(shapely.box(X0 - 30, Y0 - 12, X0 + 30, Y0 + 12), 20)
    found = hold(surface(slope_towards(bearing), half=120), np.array([patch], dtype=object))
    boat, aim = shapely.Point(found.x[0], found.y[0]), shapely.Point(found.aim_x[0], found.aim_y[0])
    assert boat.distance(patch) == pytest.approx(found.cast_m[0], abs=1e-6)
    assert boat.distance(aim) == pytest.approx(found.cast_m[0], abs=1e-6)
    assert aim.distance(patch.exterior) < 1e-6
    off_middle = np.degrees(np.arctan2(boat.x - X0, boat.y - Y0))
    assert bearing_gap(off_middle, bearing) < 45


def test_a_round_patch_is_held_straight_down_slope():
    patch = shapely.Point(X0, Y0).buffer(25, quad_segs=64)
    found = hold(surface(slope_towards(70.0), half=120), np.array([patch], dtype=object))
    assert bearing_gap(found.cast_bearing_deg[0], 250.0) < 1.0
    assert np.hypot(found.x[0] - X0, found.y[0] - Y0) == pytest.approx(25 + 21.3, abs=0.05)


def test_all_parts_of_a_multi_structure_are_kept_off():
    patches = shapely.union_all([shapely.Point(X0 + 40 * k, Y0).buffer(5) for k in range(3)])
    beds = shapely.multipoints([(X0 + 8 * k, Y0) for k in range(4)])
    lake = surface(slope_towards(90.0), half=160)
    found = hold(lake, np.array([patches], dtype=object))
    assert shapely.Point(found.x[0], found.y[0]).distance(patches) >= 12.2 - 1e-6
    found = hold(lake, np.array([beds], dtype=object))
    assert shapely.Point(found.x[0], found.y[0]).distance(beds) >= 12.2 - 1e-6
    assert found.x[0] > X0 + 24 + 12  # off the deep end of the row


def flat_topped(x, y):
    return 2 + 0.15 * np.maximum(np.hypot(x, y) - 40, 0) + 0.01 * x


def test_a_wide_hump_is_aimed_at_on_its_edge():
    lake = surface(flat_topped, half=150, cell=2.0)
    mark = at((0, 0))
    crown = aim_at_edges(mark, ["hump"], lake, wider_than_m=12.2)
    assert crown[0].geom_type == "Polygon"
    # East, deeper by 0.01 x: 0.01 x + 0.15 (x - 40) = 0.6 at x = 41.25 m.
    assert crown[0].bounds[2] - X0 == pytest.approx(41.25, abs=0.3)
    found = find_holds(crown, setting_of(lake, mark))
    assert np.hypot(found.x[0] - X0, found.y[0] - Y0) > 41.25 + 12.2 - 0.5
    assert found.depth_m[0] > 4.0


def test_a_mark_that_is_no_wide_hump_stays_a_point():
    lake = surface(lambda x, y: 3 + 0.1 * np.hypot(x, y))
    assert aim_at_edges(at((0, 0)), ["hump"], lake, wider_than_m=12.2)[0].geom_type == "Point"  # crown of 6 m
    assert hump_crowns(surface(slope_towards(0.0)), np.array([X0]), np.array([Y0]))[0] is None
    wide = surface(flat_topped, half=150)
    assert aim_at_edges(at((0, 0)), ["brush"], wide, wider_than_m=12.2)[0].geom_type == "Point"


def test_rays_of_a_line_reach_out_at_right_angles_and_past_its_ends():
    rays = cast_rays(np.array([shapely.LineString([(0, 0), (50, 0)])], dtype=object), 20.0)
    ends = np.column_stack([rays.x + 20 * rays.east, rays.y + 20 * rays.north])
    line = shapely.LineString([(0, 0), (50, 0)])
    assert_allclose(shapely.distance(shapely.points(ends), line), 20.0, atol=0.05)
    inner = shapely.points(np.column_stack([rays.x + 7 * rays.east, rays.y + 7 * rays.north]))
    assert_allclose(shapely.distance(inner, line), 7.0, atol=1e-6)


# Laws --------------------------------------------------------------------------------------------------------


def rough(seed, half=64.0):
    rng = np.random.default_rng(seed)
    waves = rng.normal(0, 1, (6, 2)) * 0.06
    phase, height = rng.random(6) * 6.3, rng.random(6)

    def depth_of(x, y):
        return (
            5
            + 0.02 * x
            + sum(h * np.sin(k[0] * x + k[1] * y + p) for k, p, h in zip(waves, phase, height, strict=True))
        )

    return surface(depth_of, half=half, noise=0.05, seed=seed)


SHAPES = np.array(
    [
        shapely.Point(X0 + 3.2, Y0 - 4.1),
        shapely.LineString([(X0 - 20, Y0 - 12), (X0 + 9, Y0 + 18)]),
        shapely.Polygon([(X0 - 9, Y0 - 7), (X0 + 12, Y0 - 5), (X0 + 2, Y0 + 11)]),
    ],
    dtype=object,
)


@given(seed=st.integers(0, 10_000), wind=st.sampled_from([None, 20.0, 215.0]))
@settings(max_examples=as_many(15), deadline=None)
def test_turning_the_lake_by_right_angles_turns_the_hold(seed, wind):
    lake = rough(seed)
    for shape in SHAPES[[0]]:
        plain = hold(lake, np.array([shape], dtype=object), wind_from_deg=wind)
        for quarter in (1, 2, 3):  # counterclockwise
            turned_lake = lake.with_depth(np.rot90(lake.depth_m, quarter))
            turned_shape = shapely.affinity.rotate(shape, 90 * quarter, origin=(X0, Y0))
            turned_wind = None if wind is None else (wind - 90 * quarter) % 360
            turned = hold(turned_lake, np.array([turned_shape], dtype=object), wind_from_deg=turned_wind)
            assert turned.found[0] == plain.found[0]
            if plain.found[0]:
                back = shapely.affinity.rotate(
                    shapely.Point(turned.x[0], turned.y[0]), -90 * quarter, origin=(X0, Y0)
                )
                assert back.distance(shapely.Point(plain.x[0], plain.y[0])) < 1e-5


@pytest.mark.parametrize("angle", [17.0, 45.0, 101.0])
def test_turning_slope_and_structure_by_any_angle_turns_the_hold(angle):
    lakes = surface(slope_towards(60.0), half=120), surface(slope_towards(60.0 - angle), half=120)
    for shape, tolerance_m in ((SHAPES[0], 0.01), (SHAPES[1], 1.0), (SHAPES[2], 1.0)):
        turned_shape = shapely.affinity.rotate(shape, angle, origin=(X0, Y0))
        plain = hold(lakes[0], np.array([shape], dtype=object))
        turned = hold(lakes[1], np.array([turned_shape], dtype=object))
        back = shapely.affinity.rotate(shapely.Point(turned.x[0], turned.y[0]), -angle, origin=(X0, Y0))
        assert back.distance(shapely.Point(plain.x[0], plain.y[0])) < tolerance_m


@given(
    seed=st.integers(0, 10_000), east=st.integers(-40_000, 40_000), north=st.integers(-3_000_000, 3_000_000)
)
@settings(max_examples=as_many(10), deadline=None)
def test_moving_everything_moves_the_holds(seed, east, north):
    lake = rough(seed)
    moved_lake = dataclasses.replace(lake, west_m=lake.west_m + east, north_m=lake.north_m + north)
    plain = hold(lake, SHAPES)
    moved = hold(moved_lake, shapely.transform(SHAPES, lambda c: c + np.array([east, north])))
    assert moved.found.tolist() == plain.found.tolist()
    assert_allclose(moved.x - east, plain.x, atol=1e-4)
    assert_allclose(moved.y - north, plain.y, atol=1e-4)


@given(seed=st.integers(0, 10_000), level=st.integers(-16, 16))
@settings(max_examples=as_many(15), deadline=None)
def test_a_level_is_the_same_as_a_chart_that_much_deeper(seed, level):
    lake, level = rough(seed), level / 8  # eighths are exact in float32
    by_level, by_chart = hold(lake, SHAPES, level=level), hold(lake.shifted(level), SHAPES)
    assert by_level.found.tolist() == by_chart.found.tolist()
    assert_allclose(by_level.x, by_chart.x, atol=1e-3)
    assert_allclose(by_level.y, by_chart.y, atol=1e-3)
    assert_allclose(by_level.depth_m, by_chart.depth_m, atol=1e-4)


def test_the_order_of_rows_changes_nothing():
    lake, order = rough(5), np.array([2, 0, 1])
    plain, shuffled = hold(lake, SHAPES), hold(lake, SHAPES[order])
    assert_allclose(shuffled.x, plain.x[order])
    assert_allclose(shuffled.cast_bearing_deg, plain.cast_bearing_deg[order])


@given(seed=st.integers(0, 10_000))
@settings(max_examples=as_many(15), deadline=None)
def test_more_draft_never_makes_a_hold(seed):
    lake = rough(seed)
    counts = [hold(lake, SHAPES, level=-2.0, draft_m=draft).found.sum() for draft in (0.3, 1.0, 2.0, 4.0)]
    assert counts == sorted(counts, reverse=True)


# Exact least depths ------------------------------------------------------------------------------------------


@given(seed=st.integers(0, 10_000))
@settings(max_examples=as_many(25), deadline=None)
def test_least_depth_along_is_never_above_dense_samples_and_close_below(seed):
    rng = np.random.default_rng(seed)
    lake = DepthSurface(rng.normal(3, 2, (12, 15)).astype("f4"), 0.0, 36.0, 2.0, 3.0, "EPSG:32615")
    x0, x1 = rng.uniform(0, 30, (2, 20))
    y0, y1 = rng.uniform(0, 36, (2, 20))
    steps = np.linspace(0, 1, 4001)[:, None]
    dense = lake.at(x0 + steps * (x1 - x0), y0 + steps * (y1 - y0)).min(axis=0) - 1.0
    least = least_depth_along(lake, x0, y0, x1, y1, level_m=-1.0)
    assert (least <= dense + 1e-6).all()
    assert_allclose(least, dense, atol=0.02)  # steps of 1 cm on slopes of up to 2 m a metre


def test_a_spit_as_thin_as_a_hair_between_samples_is_found():
    depth = np.full((5, 400), 3.0, dtype="f4")
    depth[:, 200] = -0.001  # one column of cells 0.1 m wide
    lake = DepthSurface(depth, 0.0, 5.0, 0.1, 1.0, "EPSG:32615")
    least = least_depth_along(lake, *(np.array([v]) for v in (0.5, 2.0, 39.0, 3.0)))
    assert least[0] == pytest.approx(-0.001, abs=1e-6)


def test_lines_without_length_along_the_grid_and_off_the_grid():
    lake = DepthSurface(np.arange(20, dtype="f4").reshape(4, 5), 0.0, 4.0, 1.0, 1.0, "EPSG:32615")
    least = least_depth_along(
        lake, *np.array([[1.5, 1.5, 0.5, 4.0], [2.5, 0.5, 0.5, 2], [1.5, 1.5, 4.5, 9], [2.5, 3.5, 0.5, 2]])
    )
    assert_allclose(least[:3], [6.0, 1.0, 15.0])
    assert np.isnan(least[3])
    assert least_depth_along(lake, *np.empty((4, 0))).shape == (0,)


@given(seed=st.integers(0, 10_000), radius=st.sampled_from([0.0, 0.4, 3.0, 7.0]))
@settings(max_examples=as_many(25), deadline=None)
def test_least_depth_inside_matches_dense_samples(seed, radius):
    rng = np.random.default_rng(seed)
    lake = DepthSurface(rng.normal(3, 2, (20, 20)).astype("f4"), 0.0, 40.0, 2.0, 2.0, "EPSG:32615")
    x, y = rng.uniform(8, 32, (2, 10))
    angle = np.linspace(0, 2 * np.pi, 721)[:, None]
    out = np.linspace(0, 1, 101)
    least = least_depth_inside(lake, x, y, radius, level_m=0.5)
    for k in range(10):
        dense = lake.at(x[k] + radius * out * np.cos(angle), y[k] + radius * out * np.sin(angle)).min() + 0.5
        assert least[k] <= dense + 0.002
        assert (
            least[k] >= dense - 0.25
        )  # a peak of the surface between the dense samples, never a rule's own slack


# Reasons and refusals ----------------------------------------------------------------------------------------


def reasons(lake, structures, **options):
    setting = setting_of(lake, structures, **options)
    found = find_holds(structures, setting)
    n = len(structures)
    return hold_reasons(
        found,
        structures,
        setting,
        names=[f"s{k}" for k in range(n)],
        bottom_m=np.full(n, np.nan),
        height_m=np.zeros(n),
        search_m=np.full(n, 5.0),
    )


def test_the_reason_names_what_is_missing_and_the_nearest_relaxation():
    far_channel = surface(lambda x, y: np.where(np.abs(x - 36) < 8, 4.0, 0.7))
    said = reasons(far_channel, at((0, 0)))[0]
    assert said.startswith(
        "too thin all round: 0.7 m (2.3 ft) is the deepest within a cast and 1.2 m (3.9 ft) is needed"
    )
    # Deep enough from 27.65 m on, drift circle 3 m: an eighth more than 27.4 m is the first eighth that reaches it.
    assert said.endswith("; a cast of up to 30.82 m (101 ft) would allow one")
    assert hold(far_channel, most_cast_m=30.82).found[0]
    assert not hold(far_channel, most_cast_m=30.5).found[0]

    shallow = surface(lambda x, y: 0.9)
    assert "0.3375 m (1.11 ft) more water would allow one" in reasons(shallow, at((0, 0)))[0]
    assert hold(shallow, level=0.3375).found[0]
    assert not hold(shallow, level=0.225).found[0]  # a quarter of the margin less

    thin = surface(lambda x, y: np.where((np.abs(y) <= 2) & (x > -6), 3.0, 0.5))
    said = reasons(thin, at((0, 0)))[0]
    assert "the drift circle reaches into water too thin" in said
    assert "a boat that drifts no more than 1.5 m (4.92 ft) could sit there" in said
    assert hold(thin, drift_m=1.5).found[0]
    assert not hold(thin, drift_m=2.25).found[0]

    crowd = at(
        (0, 0), *((r * np.cos(a), r * np.sin(a)) for r in (14, 24, 34, 43) for a in np.arange(0, 6.28, 0.3))
    )
    said = reasons(surface(lambda x, y: 5), crowd)[0]
    assert "another structure (s" in said
    assert "only a place over or near another structure is left" in said

    assert reasons(surface(lambda x, y: np.where(np.hypot(x, y) < 5, 1.0, -1.0)), at((0, 0))) == [
        "no open water in line of cast: land, dry ground or unknown depth all round"
    ]
    assert reasons(surface(lambda x, y: 5), at((500, 0))) == ["no depth is known at the structure"]


def test_the_reason_of_a_hold_tells_the_deep_side_and_when_it_is_shut():
    assert reasons(surface(slope_towards(90.0)), at((0, 0))) == [
        "deep side 90 deg, 1.7 m (5.6 ft) deeper one cast off"
    ]
    shut = surface(lambda x, y: np.where((x > 12) & (np.abs(y) < 60), -1.0, 6 + 0.2 * x))
    assert "deep side" in reasons(shut, at((0, 0)))[0]
    assert "off it, the best place that keeps all rules" in reasons(shut, at((0, 0)))[0]


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"least_cast_m": 30.0}, "no longer than the next"),
        ({"least_cast_m": 0.0, "drift_m": 0.0}, "more than 0"),
        ({"cast_m": 40.0}, "no longer than the next"),
        ({"drift_m": 12.2}, "smaller drift"),
        ({"draft_m": -0.1}, "0 or more"),
        ({"margin_m": np.nan}, "finite"),
        ({"wind_weight": np.inf}, "finite"),
    ],
)
def test_rules_that_make_no_sense_are_refused(wrong, words):
    with pytest.raises(UsageError, match=words):
        plain_rules(**wrong)


def test_no_structures_give_no_holds():
    assert find_holds(NOTHING, setting_of(surface(lambda x, y: 5), NOTHING)).found.shape == (0,)
