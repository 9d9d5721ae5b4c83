"""The last check at its limits: what lies exactly at a distance passes, a hair nearer does not, and by how much is told.

Truths are plain geometry: distances between parallel lines, lengths inside boxes.
"""

import math

import geopandas as gpd
import numpy as np
import pytest
import shapely

from castshed.toolbox.errors import CrsError, DataError, UsageError
from castshed.toolbox.water.proof.keep_out import OffLimits, edges_of, off_water, too_near
from castshed.toolbox.water.proof.last_check import Limits, sampled_least
from made_lake import CRS, frame
from straight_run import HAIR, LIMITS, WATER, A, B, check, flat, hazards, leg, legs, there_and_back

# --- distances -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("part", "keep"), [("run", 10.0), ("idle", 4.0)])
@pytest.mark.parametrize("what", ["hazards", "zones", "dry_ground"])
def test_what_lies_exactly_at_the_clearance_passes_and_a_hair_nearer_does_not(part, keep, what):
    for gap, seen in ((keep, 0), (keep - HAIR, 2)):
        box = shapely.box(40, gap, 60, gap + 5)
        columns = {"hazards": {"care": ["idle"]}, "zones": {"zone": ["no_entry"]}, "dry_ground": {}}[what]
        assert len(check(there_and_back(part), **{what: frame([box], **columns)})) == seen


def test_the_waters_edge_is_kept_from_like_all_else():
    for gap, seen in ((10.0, 0), (10.0 - HAIR, 2)):
        assert len(check(water=frame([shapely.box(-100, -gap, 200, 100)]))) == seen
    near = check(water=frame([shapely.box(-100, -7, 200, 100)]))
    assert [one.by_m for one in near] == pytest.approx([3.0, 3.0])
    assert all("comes within 7" in str(one) and "the water's edge" in str(one) for one in near)


def test_an_islet_smaller_than_the_clearance_is_kept_from():
    islet = shapely.box(49, 5, 51, 6)
    holed = shapely.Polygon(WATER.exterior, [islet.exterior])
    first, second = check(water=frame([holed]))
    assert first.by_m == second.by_m == pytest.approx(5.0)
    assert 48.99 <= first.x <= 51.01
    assert first.y == pytest.approx(0.0)


def test_how_far_a_leg_lies_inside_is_told_in_metres_and_where():
    inside = check(hazards=hazards(shapely.box(40, -3, 65, 30)))
    assert [one.by_m for one in inside] == pytest.approx([25.0, 25.0])
    assert all("enters idle hazard h7" in one.rule and 40 <= one.x <= 65 and one.y == 0 for one in inside)
    assert "by 25 m" in str(inside[0])
    gone = check(water=frame([shapely.box(-100, -100, 70, 100)]), holds=frame([], spot_id=[]))
    assert [one.by_m for one in gone if "leaves" in one.rule] == pytest.approx([30.0, 30.0])


def test_an_idling_leg_passes_over_a_run_hazard_only_and_a_running_one_over_none():
    box = shapely.box(40, -3, 60, 3)
    assert check(there_and_back("idle"), hazards=hazards(box, "run")) == []
    assert len(check(there_and_back("idle"), hazards=hazards(box, "idle"))) == 2
    assert len(check(there_and_back("idle"), hazards=hazards(box, "who knows"))) == 2
    assert len(check(hazards=hazards(box, "run"))) == 2


def test_a_zone_called_slow_is_open_and_a_hazard_called_slow_is_not():
    box = shapely.box(40, -3, 60, 3)
    assert check(zones=frame([box], zone=["slow"])) == []
    assert len(check(hazards=hazards(box, "slow"))) == 2


def test_a_piece_of_a_part_nobody_knows_is_told_and_held_to_the_rules_of_running():
    said = check(there_and_back("drift"), hazards=hazards(shapely.box(40, 6, 60, 20), "run"))
    assert sum("is of part 'drift'" in one.rule for one in said) == 2
    assert sum("comes within" in one.rule for one in said) == 2


def test_a_hold_may_touch_an_edge_and_lie_on_a_run_hazard_but_not_in_anything_closed():
    hold = shapely.Point(B)
    # The leg that ends there is idle: what is asked of the hold itself is seen alone.
    inside = {"care": ["idle"]}
    for shape, seen in ((shapely.box(100, -2, 110, 2), False), (shapely.box(100 - HAIR, -2, 110, 2), True)):
        near = Limits(0.0, 0.0, 1.2, 0.8, 0.9, 60.0)
        said = check(there_and_back("idle"), hazards=frame([shape], **inside), limits=near)
        assert any("hold of a" in one.what for one in said) is seen
    assert not any("hold" in one.what for one in check(hazards=hazards(hold.buffer(9), "run")))
    (deep,) = [one for one in check(zones=frame([hold.buffer(9)], zone=["no_motor"])) if "hold" in one.what]
    assert deep.by_m == pytest.approx(9.0, abs=0.05)
    assert "enters no_motor zone in row 0" in deep.rule
    (out,) = [one for one in check(water=frame([shapely.box(-100, -100, 98, 100)])) if "hold" in one.what]
    assert out.by_m == pytest.approx(2.0)


def test_how_clear_a_run_keeps_is_measured_to_everything_and_to_nothing_else():
    line = np.array([shapely.LineString([A, B])], dtype=object)
    box = shapely.box(40, 3, 60, 9)
    wide = OffLimits(
        frame([WATER]), hazards(box, "run"), frame([shapely.box(0, -9, 9, -8)], zone=["slow"]), None
    )
    assert wide.clearance_m(line, running=True) == pytest.approx([3.0])
    assert wide.clearance_m(line, running=False) == pytest.approx([100.0])
    assert len(wide.clearance_m(line[:0], running=True)) == 0
    assert OffLimits(None, None, None, None).clearance_m(line, running=True) == np.inf


def test_no_item_or_area_breaks_nothing():
    none, line = np.empty(0, dtype=object), np.array([shapely.LineString([A, B])], dtype=object)
    assert too_near(none, line, 5.0) == [] == too_near(line, none, 5.0) == off_water(none, WATER, 5.0)
    assert len(edges_of(shapely.Polygon())) == 0
    (all_of_it,) = off_water(line, shapely.Polygon(), 0.0)
    assert all_of_it.inside_m == pytest.approx(100.0)


def test_one_breach_an_item_and_the_nearest_of_its_edges():
    lines = np.array(
        [shapely.LineString([(0, 0), (10, 0)]), shapely.LineString([(0, 50), (10, 50)])], dtype=object
    )
    water = shapely.box(-3, -5, 12, 100)
    found = off_water(lines, water, 8.0)
    assert [(one.item, one.area, one.inside_m) for one in found] == [(0, -1, 0.0), (1, -1, 0.0)]
    assert [one.gap_m for one in found] == pytest.approx([2.0, 2.0])


def test_a_closed_zone_after_a_slow_one_is_closed():
    slow, closed = shapely.box(10, -3, 20, 3), shapely.box(40, -3, 65, 3)
    for shapes, words in (((slow, closed), ("slow", "no_entry")), ((closed, slow), ("no_entry", "slow"))):
        said = check(zones=frame(shapes, zone=words))
        assert [one.by_m for one in said] == pytest.approx([25.0, 25.0])


def test_what_is_too_near_is_placed_on_the_leg_and_what_is_left_out_counts_by_its_row():
    zones = frame([None, shapely.Polygon(), shapely.box(40, 4, 60, 9)], zone=["no_entry"] * 3)
    first, second = check(zones=zones)
    assert first.y == second.y == 0.0
    assert 40 <= first.x <= 60
    assert "no_entry zone in row 2" in first.rule


def test_a_millionth_of_a_metre_is_forgiven_and_not_a_bit_more():
    edge = shapely.box(-9, -9, 0, 9)
    for beyond, seen in ((1e-6, 0), (math.nextafter(1e-6, 1), 1)):
        assert len(off_water(np.array([shapely.Point(beyond, 0)]), edge, 0.0)) == seen
    limit = 1.0 - 1e-6
    for gap, seen in ((limit, 0), (math.nextafter(limit, 0), 1)):
        assert len(too_near(np.array([shapely.Point(gap, 0)]), np.array([edge]), 1.0)) == seen
        assert len(off_water(np.array([shapely.Point(-gap, 0)]), edge, 1.0)) == seen
    (out,) = off_water(np.array([shapely.Point(4, 0)]), edge, 1.0)
    assert (out.inside_m, out.gap_m, out.area, out.x, out.y) == (4.0, 0.0, -1, 4.0, 0.0)


# --- depths ----------------------------------------------------------------------------------------------------------


def test_a_shoal_of_one_cell_under_the_middle_of_a_leg_is_seen():
    depth = np.full((20, 30), 5.0)
    depth[9, 15] = 0.5  # its centre lies at 55, 5
    across = np.array([shapely.LineString([(0, 5), (110, 5)])], dtype=object)
    least, where = sampled_least(across, flat(depth), 0.0)
    assert least == pytest.approx([0.5], abs=1e-6)
    assert tuple(where[0]) == pytest.approx((55.0, 5.0))
    # Half a cell off the centre a bilinear surface has half of its fall left.
    beside = np.array([shapely.LineString([(0, 0), (110, 0)])], dtype=object)
    assert sampled_least(beside, flat(depth), -1.0)[0] == pytest.approx([2.75 - 1.0], abs=1e-6)


@pytest.mark.parametrize(("part", "needed"), [("run", 1.2), ("idle", 0.8)])
def test_the_depth_needed_is_needed_to_a_tenth_of_a_millimetre(part, needed):
    holds = frame([shapely.Point(50, 50)], spot_id=["a"])  # not on the legs: their rule alone speaks
    for depth, thin in ((needed, 0), (needed - 0.00009, 0), (needed - 0.0002, 2), (needed - 0.3, 2)):
        surface = flat(np.full((20, 30), 2.0))
        said = check(there_and_back(part), depth=surface, level_m=depth - 2.0, holds=holds)
        said = [one for one in said if "is needed" in one.rule and "leg" in one.what]
        assert len(said) == thin
    assert [one.by_m for one in said] == pytest.approx([0.3, 0.3], abs=1e-6)


def test_a_tenth_of_a_millimetre_of_depth_is_forgiven_and_not_a_bit_more():
    for limit, seen in ((1.2 - 1e-4, 0), (math.nextafter(1.2 - 1e-4, 0), 2)):
        said = check(depth=flat(np.full((20, 30), 2.0)), level_m=limit - 2.0)
        assert len(said) == seen


def test_a_hold_needs_its_own_depth():
    for depth, thin in ((0.9, 0), (0.8, 1)):
        said = check(there_and_back("idle"), depth=flat(np.full((20, 30), depth)))
        assert sum("the hold of a" in one.what for one in said) == thin


def test_a_stated_depth_that_is_not_there_is_seen_and_less_than_there_is_may_be_stated():
    surface = flat(np.full((20, 30), 3.0))
    for stated, seen in ((2.9, 0), (3.0, 0), (3.1, 2)):
        said = check(there_and_back(min_depth_m=stated), depth=surface)
        assert sum("is stated" in one.rule for one in said) == seen
        hold = frame([shapely.Point(B)], spot_id=["a"], depth_today_m=[stated])
        assert sum("is stated" in one.rule for one in check(holds=hold, depth=surface)) == seen // 2


def test_water_of_unknown_depth_is_not_taken_for_enough():
    depth = np.full((20, 30), 5.0)
    depth[9:11, 14:16] = np.nan
    said = check(depth=flat(depth))
    assert [one.rule for one in said] == ["lies in water without a known depth"] * 2
    assert all(35 < one.x < 65 for one in said)


# --- what is stated, and what proves nothing ---------------------------------------------------------------------------


def test_what_is_stated_of_length_and_clearance_must_be_true():
    for stated, seen in ((100.0, 0), (100.0 + 5e-7, 0), (100.0 + HAIR, 2), (99.0, 2), (np.nan, 2)):
        assert len(check(there_and_back(distance_m=stated))) == seen
    # Of a leg of 200 km a billionth is forgiven too.
    far, water = (200_000.0, 0.0), frame([shapely.box(-100, -100, 300_000, 100)])
    for off, seen in ((1.9e-4, 0), (2.1e-4, 2)):
        run = legs(
            leg(1, "run", "r", "a", A, far, distance_m=200_000 + off),
            leg(2, "run", "a", "r", far, A, distance_m=200_000 - off),
        )
        assert len(check(run, water=water, holds=frame([shapely.Point(far)], spot_id=["a"]))) == seen
    box = hazards(shapely.box(40, 30, 60, 40))
    for stated, seen in ((30.0, 0), (12.0, 0), (30.0 + HAIR, 2)):
        assert len(check(there_and_back(min_clearance_m=stated), hazards=box)) == seen
    (first, _) = check(there_and_back(min_clearance_m=31.5), hazards=box)
    assert "keeps clear by 30 m, 31.5 m is stated" in first.rule
    assert first.by_m == pytest.approx(1.5)


def test_a_stated_clearance_is_measured_to_what_the_part_keeps_from():
    thin = hazards(shapely.box(40, 30, 60, 40), "run")
    for part, stated, seen in (("idle", 50.0, 0), ("run", 50.0, 2), ("run", 30.0, 0), ("idle", 100.5, 2)):
        assert len(check(there_and_back(part, min_clearance_m=stated), hazards=thin)) == seen


def test_without_columns_of_depth_and_clearance_nothing_is_held_against_them():
    assert check(there_and_back().drop(columns=["min_depth_m", "min_clearance_m"])) == []


@pytest.mark.parametrize("name", ["run_clearance_m", "idle_clearance_m", "launch_m"])
def test_distances_below_nothing_are_refused_and_depths_may_be(name):
    from dataclasses import replace

    with pytest.raises(UsageError, match=name):
        check(limits=replace(LIMITS, **{name: -0.1}))
    assert check(limits=replace(LIMITS, **{name: 0.0, "launch_m": 0.0})) == []
    assert check(limits=replace(LIMITS, run_depth_m=-1.0)) == []
    with pytest.raises(UsageError, match="level_m"):
        check(level_m=float("inf"))


def test_layers_without_or_of_another_reference_system_are_refused():
    for name in ("water", "hazards", "zones", "dry_ground", "structures"):
        there = frame([WATER], care=["idle"], zone=["slow"], spot_id=["z"])
        for other in (there.set_crs(None, allow_override=True), there.to_crs(32616)):
            with pytest.raises(CrsError, match=name):
                check(**{name: other})
    with pytest.raises(CrsError, match="legs"):
        check(there_and_back().set_crs(None, allow_override=True))


@pytest.mark.parametrize(
    "shape", [None, shapely.LineString(), shapely.Point(1, 1), shapely.LineString([A, (np.inf, 1)])]
)
def test_legs_without_a_line_are_refused(shape):
    run = there_and_back()
    run = run.set_geometry(gpd.GeoSeries([shape, run.geometry[1]], crs=CRS))
    with pytest.raises(DataError, match="legs has no LineString with finite coordinates in row 0"):
        check(run)


def test_limits_of_a_boat_are_what_is_stated_of_it():
    limits = Limits.of_boat(
        draft_m=0.5, running_depth_m=0.9, margin_m=0.3, depth_error_m=0.3, level_error_m=0.4, beam_m=2.4,
        fix_error_m=5.0, clearance_m=10.0, launch_m=50.0, idle_clearance_m=2.0,
    )  # fmt: skip
    # Errors of 0.3 and 0.4 m that know nothing of each other make 0.5 m (Pythagoras).
    assert limits == Limits(16.2, 8.2, pytest.approx(1.7), pytest.approx(1.3), pytest.approx(1.3), 50.0)
    plain = Limits.of_boat(
        draft_m=0.5, running_depth_m=0.9, margin_m=0.0, depth_error_m=0.0, level_error_m=0.0, beam_m=2.0,
        fix_error_m=0.0, clearance_m=0.0, launch_m=1.0,
    )  # fmt: skip
    assert plain == Limits(1.0, 1.0, 0.9, 0.5, 0.5, 1.0)
