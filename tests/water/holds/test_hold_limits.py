"""Hard rules of a hold at their limits, what it keeps off, and what is told of it: by plain geometry."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import UsageError
from castshed.toolbox.water.holds import hold_rules as rules
from castshed.toolbox.water.holds.casting import find_holds_apart
from castshed.toolbox.water.holds.hold_rules import HoldRules, Lie, Setting, Surroundings, broken_rules
from castshed.toolbox.water.holds.hold_tables import apart_deg, bearings_deg
from castshed.toolbox.water.holds.surroundings import kept_off, reachable_water
from made_lake import CRS, frame
from plain_rules import plain_rules

NOTHING = np.empty(0, dtype=object)
HAIR = 1e-6
INCH_M, FOOT_M = 0.0254, 0.3048  # international, by definition


def surface(depth_of, error_m=0.0):
    """1 m cells, 200 m square about the origin."""
    middle = -100.0 + (np.arange(200) + 0.5)
    x, y = np.meshgrid(middle, -middle)
    return DepthSurface((depth_of(x, y) + 0.0 * x).astype("f4"), -100.0, 100.0, 1.0, 1.0, CRS, error_m)


def broken(
    *, depth=lambda x, y: 5.0 + 0.0 * x, cast=20.0, level=0.0, top=3.0, error_m=0.0, structures=None, clear=(),
    hazards=NOTHING, radius=(), reachable=None, screens=NOTHING, screen_rows=(), **told,
):  # fmt: skip
    """Rules broken by a boat that lies ``cast`` metres east of a structure at the origin."""
    structures = np.array([shapely.Point(0, 0)], dtype=object) if structures is None else np.array(structures)
    around = Surroundings(
        structures, np.array([1.0, *clear]), np.array(hazards, dtype=object), np.array(radius, dtype=float),
        np.array(screens, dtype=object), np.array(screen_rows, dtype=np.intp), reachable,
    )  # fmt: skip
    given = {"draft_m": 0.5, "margin_m": 0.25, "drift_m": 3.0} | told
    setting = Setting(surface(depth, error_m), level, plain_rules(**given), around)
    one, zero = np.ones(1), np.zeros(1)
    lie = Lie(zero, zero, one, zero)
    found = int(
        broken_rules(lie, one * cast, fished=np.zeros(1, dtype=np.intp), top_m=one * top, setting=setting)[0]
    )
    return {rule for rule in rules.RULES if found & rule}


def flat(metres):
    return lambda x, _: metres + 0.0 * x


def test_a_hold_in_open_deep_water_breaks_nothing():
    assert broken() == set()


def test_each_rule_has_a_bit_of_its_own_and_words():
    assert sorted(rules.RULES) == [1 << number for number in range(9)]
    assert all(rules.RULES.values())


@pytest.mark.parametrize("more", [{}, {"error_m": 0.3, "level_error_m": 0.4}])
def test_water_as_deep_as_draft_margin_and_errors_is_enough(more):
    # Errors of 0.3 and 0.4 m that know nothing of each other make 0.5 m.
    need = 0.75 + (0.5 if more else 0.0)
    for depth, wanted in ((need + HAIR, set()), (need - 0.001, {rules.THIN, rules.ADRIFT})):
        assert broken(depth=flat(4.0), level=depth - 4.0, top=0.0, **more) == wanted


def test_the_drift_circle_reaches_thin_water_from_its_radius_on():
    # The bottom rises in one step of 1 m between the centres at 24.5 and 25.5 m.
    def step(x, _):
        return np.where(x > 25.0, 0.0, 5.0)

    # 0.75 m of water stands 0.85 of the way along, at x = 25.35; the circle of 3 m comes there from x = 22.35 on.
    assert broken(depth=step, cast=22.30) == set()
    assert broken(depth=step, cast=22.40) == {rules.ADRIFT}
    assert broken(depth=step, cast=22.40, drift_m=2.9) == set()
    assert rules.THIN in broken(depth=step, cast=25.40)


def test_a_place_shallower_than_the_structure_by_more_than_the_error_is_refused():
    for top, wanted in ((5.0, set()), (5.29, set()), (5.31, {rules.ABOVE})):
        assert broken(top=top, error_m=0.3) == wanted


def test_land_in_the_line_of_cast_and_water_of_no_depth_are_seen():
    def spit(x, y):
        return np.where((np.abs(x - 10.5) < 0.6) & (np.abs(y) < 2), -1.0, 5.0)

    assert broken(depth=spit) == {rules.BLOCKED}
    assert broken(depth=lambda x, y: np.where((np.abs(x - 10.5) < 0.6) & (y > 2), -1.0, 5.0)) == set()
    # Just awash is no water to cast over.
    assert rules.BLOCKED in broken(depth=lambda x, y: np.where(np.abs(x - 10.5) < 0.6, 0.0, 5.0))
    hole = broken(depth=lambda x, y: np.where(x > 18, np.nan, 5.0))
    assert hole == {rules.UNKNOWN, rules.BLOCKED, rules.ADRIFT}


def test_another_structure_is_kept_off_by_its_own_distance():
    here = shapely.Point(0, 0)
    for x, wanted in ((26.0, set()), (26.0 - HAIR, {rules.OVER_OTHER})):
        assert broken(structures=[here, shapely.Point(x, 0)], clear=[6.0]) == wanted
    # The structure that is fished is not another one, nor is a flat that holds it.
    assert broken(structures=[shapely.Point(0, 0).buffer(30)]) == set()
    assert broken(structures=[here, here.buffer(30)], clear=[6.0]) == set()
    assert broken(structures=[here, shapely.box(1, -9, 30, 9)], clear=[6.0]) == {rules.OVER_OTHER}


def test_a_hazard_is_kept_off_by_its_radius_and_the_drift():
    for x, wanted in ((29.0 + HAIR, set()), (29.0, {rules.HAZARD})):  # 20 + 3 + 6
        assert broken(hazards=[shapely.Point(x, 0)], radius=[6.0]) == wanted
    far = shapely.Point(60, 0)  # the larger radius of another one is not this one's
    assert broken(hazards=[shapely.Point(29.5, 0), far], radius=[6.0, 36.0]) == set()


def test_a_cast_against_the_wind_is_shorter():
    # East of the structure, so the cast goes west: straight upwind when the wind comes from 270 degrees.
    assert broken(cast=20.0, most_cast_m=27.4, wind_from_deg=270.0, upwind_factor=0.5) == {rules.UPWIND}
    assert broken(cast=13.7, most_cast_m=27.4, wind_from_deg=270.0, upwind_factor=0.5) == set()
    assert broken(cast=27.4, wind_from_deg=90.0, upwind_factor=0.5) == set()
    assert broken(cast=27.41) == {rules.UPWIND}


def test_water_no_way_leads_to_is_no_hold():
    assert broken(reachable=shapely.box(0, -50, 19.9, 50)) == {rules.CUT_OFF}
    assert broken(reachable=shapely.box(0, -50, 20, 50)) == set()


def test_tall_cover_hides_what_lies_behind_it_and_not_what_lies_in_it():
    trees = shapely.box(8, -2, 12, 2)
    assert broken(screens=[trees], screen_rows=[1]) == {rules.BLOCKED}
    assert broken(screens=[trees], screen_rows=[0]) == set()
    assert broken(screens=[shapely.box(-2, -2, 12, 2)], screen_rows=[1]) == set()


def test_no_place_breaks_no_rule():
    around = Surroundings(np.array([shapely.Point(0, 0)]), np.ones(1), NOTHING, np.empty(0))
    setting = Setting(surface(flat(5.0)), 0.0, plain_rules(), around)
    none = np.empty(0)
    found = broken_rules(
        Lie(none, none, none, none), none, fished=none.astype(np.intp), top_m=none, setting=setting
    )
    assert len(found) == 0


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"least_cast_m": 0.0}, "the least more than 0"),
        ({"least_cast_m": 22.0}, "no longer than the next"),
        ({"cast_m": 28.0}, "no longer than the next"),
        ({"drift_m": 12.2}, "drift circle"),
        ({"margin_m": -0.1}, "margin_m is -0.1"),
        ({"draft_m": math.nan}, "draft_m is nan"),
        ({"wind_from_deg": math.inf}, "wind_from_deg"),
        ({"upwind_factor": 0.4}, "upwind"),
        ({"upwind_factor": 1.1}, "upwind"),
        ({"most_holds": 0}, "whole number"),
        ({"most_holds": 1.5}, "whole number"),
        ({"sun_height_deg": 90.5}, "from -90 to 90"),
        ({"sun_height_deg": -90.5}, "from -90 to 90"),
        ({"apart_deg": 0.0}, "above 0 and up to 180"),
        ({"apart_deg": 180.5}, "above 0 and up to 180"),
        ({"sun_bearing_deg": -1.0}, "sun_bearing_deg"),
    ],
)
def test_rules_that_cannot_be_are_refused(told, words):
    with pytest.raises(UsageError, match=words):
        plain_rules(**told)


def test_rules_at_their_limits_stand():
    for told in (
        {"least_cast_m": 20.0, "cast_m": 20.0, "most_cast_m": 20.0}, {"drift_m": 12.1}, {"margin_m": 0.0},
        {"upwind_factor": 0.5}, {"upwind_factor": 1.0}, {"most_holds": 1}, {"sun_height_deg": 90.0},
        {"sun_height_deg": -90.0}, {"apart_deg": 180.0}, {"apart_deg": 0.5}, {"least_cast_m": 0.5, "drift_m": 0.25}, {"wind_from_deg": 0.0}, {"draft_m": 0.0},
    ):  # fmt: skip
        assert plain_rules(**told)


def test_the_least_the_house_asks_of_a_hold_is_not_lowered_unseen():
    """Common practice, and the cautious end of it; whoever lowers these must say so here too."""
    usual = HoldRules()
    boat_m = (usual.draft_m, usual.margin_m, usual.drift_m, usual.footprint_m)
    assert boat_m == pytest.approx((24 * INCH_M, 18 * INCH_M, 10 * FOOT_M, 10 * FOOT_M))
    assert (usual.spot_error_m, usual.level_error_m, usual.upwind_factor) == (8.0, 0.0, 0.7)
    casts_m = (usual.least_cast_m, usual.cast_m, usual.most_cast_m)
    assert casts_m == pytest.approx((40 * FOOT_M, 70 * FOOT_M, 90 * FOOT_M))
    assert (usual.most_holds, usual.apart_deg) == (1, 60.0)


# --- what the drift circle keeps off -----------------------------------------------------------------------------------


def test_known_hazards_count_unless_there_is_water_enough_over_them():
    known = frame(
        [shapely.Point(x, 0) for x in range(5)],
        top_depth_m=[0.5, 1.0, 1.1, math.nan, -2.0],
        radius_m=[4.0, 5.0, 6.0, math.nan, -1.0],
    )
    shapes, radii = kept_off(None, known, None, cover_m=1.0, default_radius_m=7.0)
    assert shapely.get_x(shapes).tolist() == [0, 3, 4]
    assert radii.tolist() == [4.0, 7.0, 0.0]


def test_idle_hazards_and_closed_zones_are_kept_off_and_run_hazards_and_slow_zones_are_not():
    box = shapely.box(0, 0, 1, 1)
    hazards = frame([box, box.buffer(1), box.buffer(2)], care=["run", "idle", None])
    zones = frame([box.buffer(3), box.buffer(4), box.buffer(5)], zone=["slow", "no_entry", None])
    shapes, radii = kept_off(hazards, None, zones, cover_m=1.0, default_radius_m=7.0)
    assert [round(shape.bounds[0]) for shape in shapes] == [-1, -2, -4, -5]
    assert radii.tolist() == [0.0] * 4
    shapes, radii = kept_off(None, None, None, cover_m=1.0, default_radius_m=7.0)
    assert len(shapes) == len(radii) == 0


def test_only_water_a_ramp_in_use_leads_to_is_reachable():
    water = frame([shapely.box(0, 0, 100, 100), shapely.box(200, 0, 300, 100)])
    given = {"hazards": None, "zones": None, "clearance_m": 10.0}
    ramp = frame([shapely.Point(50, -5)], min_level_m=[-1.0])

    def reach(ramps, level_m=0.0, launch_m=16.5):
        return reachable_water(water, ramps, level_m=level_m, launch_m=launch_m, **given)

    assert len(shapely.get_parts(reach(None))) == 2
    west = reach(ramp)
    assert west.geom_type == "Polygon"
    assert shapely.intersects_xy(west, 50, 50)
    assert not shapely.intersects_xy(west, 250, 50)
    assert 10.0 <= west.bounds[0] <= 12.0
    assert reach(ramp, launch_m=14.9).is_empty
    assert not reach(ramp, level_m=-1.0).is_empty
    assert reach(ramp, level_m=-1.001).is_empty
    # A ramp that tells no least level is in use at every level.
    assert not reach(ramp.assign(min_level_m=math.nan), level_m=-9.0).is_empty


# --- what is told of a hold ----------------------------------------------------------------------------------------------


def test_bearings_run_from_north_by_east_and_angles_between_them_the_shorter_way():
    assert bearings_deg(np.array([0.0, 1.0, 0.0, -1.0]), np.array([1.0, 0.0, -1.0, 0.0])).tolist() == [
        0,
        90,
        180,
        270,
    ]
    one, other = np.array([350.0, 10.0, 90.0, 0.0]), np.array([10.0, 350.0, 270.0, 0.0])
    assert apart_deg(one, other).tolist() == [20.0, 20.0, 180.0, 0.0]


def holds(depth, shapes, **told):
    shapes = np.array(shapes, dtype=object)
    around = Surroundings(shapes, np.full(len(shapes), 6.0), NOTHING, np.empty(0))
    more = {name: told.pop(name) for name in ("bottom_m", "height_m", "rows", "marks") if name in told}
    level = told.pop("level", 0.0)
    return find_holds_apart(shapes, Setting(surface(depth, 0.1), level, plain_rules(**told), around), **more)


def slope(x, _):
    return 8.0 + 0.05 * x


def test_what_is_told_of_a_hold_can_be_measured():
    (found,) = holds(slope, [shapely.Point(0, 0)], level=-1.0)
    assert found.found.tolist() == [True]
    east = float(found.x[0])
    assert (east, found.y[0]) == (pytest.approx(21.3, abs=0.1), pytest.approx(0.0, abs=0.1))
    assert (found.aim_x[0], found.aim_y[0]) == (0.0, 0.0)
    assert found.depth_m[0] == pytest.approx(8.0 + 0.05 * east - 1.0, abs=1e-4)
    # The drift circle is shoalest 3 m towards the bank; needed are draft, margin and the error of 0.1 m.
    assert found.margin_m[0] == pytest.approx(8.0 + 0.05 * (east - 3.0) - 1.0 - (0.6 + 0.45 + 0.1), abs=1e-3)
    assert found.cast_bearing_deg[0] == pytest.approx(270.0, abs=0.5)
    assert found.deep_bearing_deg[0] == pytest.approx(90.0, abs=0.5)
    assert found.aim_depth_m[0] == pytest.approx(7.0, abs=1e-4)
    assert found.seen_depth_m[0] == pytest.approx(8.0 + 0.05 * 27.4 - 1.0, abs=1e-2)
    assert np.isnan(found.wind_angle_deg[0])


def test_second_holds_lie_apart_and_structures_without_one_have_an_empty_row():
    shapes = [shapely.Point(0, 0), shapely.Point(-60, 40)]

    def bank(x, y):  # dry about the second structure
        return np.where(x < -20.0, -1.0, 6.0 + 0.02 * x)

    tables = holds(bank, shapes, most_holds=3, apart_deg=60.0)
    assert len(tables) == 3
    assert all(table.found.tolist() == [True, False] for table in tables)
    assert all(np.isnan(table.x[1]) and np.isnan(table.depth_m[1]) for table in tables)
    sides = [bearings_deg(table.x[:1], table.y[:1]) for table in tables]
    for one in range(3):
        for other in range(one):
            assert apart_deg(sides[one], sides[other])[0] >= 60.0 - 1e-9
    assert len(holds(bank, shapes, most_holds=1)) == 1


@pytest.mark.parametrize("bearing", range(7, 360, 32))
def test_holds_lie_apart_however_the_bottom_falls(bearing):
    east, north = math.sin(math.radians(bearing)), math.cos(math.radians(bearing))
    tables = holds(
        lambda x, y: 9.0 + 0.06 * (x * east + y * north), [shapely.Point(3, -5)], most_holds=3, apart_deg=48.0
    )
    sides = [bearings_deg(table.x - 3.0, table.y + 5.0)[0] for table in tables]
    assert all(table.found[0] for table in tables)
    assert min(apart_deg(one, other) for k, one in enumerate(sides) for other in sides[:k]) >= 48.0 - 1e-9


def test_of_many_structures_each_is_told_in_its_row():
    # More than are worked on at a time; every second one stands on land.
    places = [(float(x), float(y)) for x in np.linspace(-60, 60, 26) for y in np.linspace(-60, 60, 12)]
    shapes = [shapely.Point(xy) for xy in places]
    sole = Surroundings(np.array(shapes, dtype=object), np.zeros(len(shapes)), NOTHING, np.empty(0))

    def ridge(x, y):
        return np.where(x < 0.0, -2.0, 6.0)

    tables = find_holds_apart(
        np.array(shapes, dtype=object), Setting(surface(ridge), 0.0, plain_rules(), sole)
    )
    found = tables[0]
    wet = np.array([x > 0.6 for x, _ in places])
    assert len(shapes) > 300
    assert np.array_equal(
        found.found[np.abs(np.array(places)[:, 0]) > 3], wet[np.abs(np.array(places)[:, 0]) > 3]
    )
    gap = np.hypot(found.x - np.array(places)[:, 0], found.y - np.array(places)[:, 1])[found.found]
    assert (gap >= 12.2 - 1e-9).all()
    assert (gap <= 27.4 + 1e-9).all()


def test_no_structure_has_no_hold():
    (found,) = holds(slope, [])
    assert len(found.found) == 0


def test_height_and_bottom_make_the_top_that_a_hold_may_not_be_above():
    # Level ground of 3 m, a structure said to lie on 5 m: the water is shallower than its top unless it stands 2 m high.
    for bottom, height, there in (
        (math.nan, math.nan, True),
        (5.0, 0.0, False),
        (5.0, 1.8, False),
        (5.0, 1.95, True),
    ):
        (found,) = holds(
            flat(3.0), [shapely.Point(0, 0)], bottom_m=np.array([bottom]), height_m=np.array([height])
        )
        assert found.found.tolist() == [there]


def test_why_there_is_no_hold_is_counted_by_place_and_rule():
    """72 rays by five lengths of cast are 360 places; each breaks what geometry says, and what it breaks alone."""
    bit = {rule: number for number, rule in enumerate(rules.RULES)}
    (thin,) = holds(flat(0.9), [shapely.Point(0, 0)])
    assert thin.found.tolist() == [False]
    # What the cheap rules bar is not asked for more.
    assert thin.broken[0].tolist() == thin.alone[0].tolist()
    assert thin.broken[0, bit[rules.THIN]] == thin.broken.sum() == 360
    point = np.array([shapely.Point(0, 0)])
    near = Surroundings(point, np.zeros(1), point, np.array([60.0]))
    (barred,) = find_holds_apart(point, Setting(surface(flat(9.0), 0.1), 0.0, plain_rules(), near))
    assert barred.broken[0].tolist() == barred.alone[0].tolist()
    assert barred.alone[0, bit[rules.HAZARD]] == barred.alone.sum() == 360
    assert np.isnan(barred.margin_m[0])
    assert barred.aim_depth_m[0] == pytest.approx(9.0)


def test_the_deepest_water_that_is_seen_is_told_beside_a_bank_too():
    def bank(x, _):
        return np.where(x < -8.0, -1.0, 8.0 + 0.05 * x)

    (found,) = holds(bank, [shapely.Point(0, 0)])
    assert found.seen_depth_m[0] == pytest.approx(8.0 + 0.05 * 27.4, abs=1e-2)
    (dry,) = holds(flat(-1.0), [shapely.Point(0, 0)])
    assert np.isnan(dry.seen_depth_m[0])
    assert dry.aim_depth_m[0] == pytest.approx(-1.0)
