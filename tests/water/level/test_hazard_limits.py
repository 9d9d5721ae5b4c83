"""Hazards told and drawn at their limits, doubted depths, and broken layers of which safe water is still safe."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import pytest
import shapely

from castshed.algorithms.shallow_hazards import shallow_hazards
from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import DataError, DataWarning, UsageError
from castshed.toolbox.water.level import isobaths
from castshed.toolbox.water.level.isobaths import shallower_than, unknown_area
from castshed.toolbox.water.level.uncertainty import doubted
from castshed.toolbox.water.ways import safe_water
from castshed.toolbox.water.ways.safe_water import kept_out_of, safe_waters, shrink, sound
from made_lake import CRS, frame

WATER = frame([shapely.box(0, 0, 200, 100)], water_id=["w"])


def flat(metres, error_m=0.0):
    """10 m cells over the water; ``metres`` is one depth or an array (10, 20)."""
    return DepthSurface((metres + np.zeros((10, 20))).astype("f4"), 0.0, 100.0, 10.0, 10.0, CRS, error_m)


def marked(depth, **told):
    given = {
        "draft_m": 0.5,
        "running_depth_m": 1.0,
        "margin_m": 0.3,
        "level_error_m": 0.0,
        "hazard_error_m": 2.0,
    }
    return shallow_hazards(depth, WATER, **(given | told))


def known(**columns):
    given = {"kind": ["stump"], "top_depth_m": [0.5], "radius_m": [4.0]}
    return frame([shapely.Point(100, 50)], **(given | columns))


# --- what is a hazard --------------------------------------------------------------------------------------------------


def test_water_as_deep_as_needed_is_none_and_a_centimetre_less_is_one():
    for metres, cares in ((1.31, set()), (1.29, {"run"}), (0.81, {"run"}), (0.79, {"run", "idle"})):
        made = marked(flat(metres)) if metres > 1.3 else None
        if made is None:
            with pytest.warns(DataWarning, match="all of it is a hazard to run on"):
                made = marked(flat(metres))
        assert set(made["care"]) == cares
        assert (made.geometry.area == 20_000).all()


def test_the_greater_of_the_coverages_error_and_that_of_its_order_of_survey_counts():
    depth = flat(3.0, 0.4)
    # Idle needs 0.8 m; IHO S-44 order 1 may be off by sqrt(0.5^2 + (0.013 d)^2) at that depth, the exclusive order by 0.15.
    order_1 = math.hypot(0.5, 0.013 * 0.8)
    for told, error in (
        ({}, 0.4),
        ({"depth_error_m": 0.1}, 0.1),
        ({"survey_order": "order-1"}, order_1),
        ({"survey_order": "exclusive"}, 0.4),
        ({"depth_error_m": 0.3, "level_error_m": 0.4}, 0.5),
    ):
        for spare in (0.001, -0.001):
            at_limit = frame(
                [shapely.Point(100, 50)], kind=["x"], top_depth_m=[0.8 + error + spare], radius_m=[1.0]
            )
            made = marked(depth, known_hazards=at_limit, **told)
            assert ("idle" in set(made["care"])) is (spare < 0)


def test_running_depth_may_equal_the_draft_and_not_be_less_and_draft_the_deepest_water():
    assert len(marked(flat(9.0), draft_m=1.0)) == 0
    with pytest.raises(UsageError, match=r"running-depth is 1 m .* less than the draft of 1\.1 m"):
        marked(flat(9.0), draft_m=1.1)
    with pytest.raises(UsageError, match="deepest water today is 2 m"):
        marked(flat(3.0), draft_m=2.1, running_depth_m=2.1, level_m=-1.0)
    with pytest.warns(DataWarning):
        made = marked(flat(3.0), draft_m=2.0, running_depth_m=2.0, level_m=-1.0)
    assert set(made["care"]) == {"run", "idle"}


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({}, "stump, 0.5 m (1.64 ft) of water over it today"),
        ({"kind": ["rock_pile"], "top_depth_m": [-0.5]}, "rock pile, bare by 0.5 m (1.64 ft) today"),
        ({"kind": [" "], "top_depth_m": [math.nan]}, "known hazard, depth of its top not known"),
        ({"top_depth_m": [0.0]}, "stump, bare by 0 m (0 ft) today"),
    ],
)
def test_a_known_hazard_is_told_in_words(columns, words):
    made = marked(flat(9.0), known_hazards=known(**columns))
    assert list(made["care"]) == ["run", "idle"]
    assert list(made["hazard_id"]) == ["run-1", "idle-1"]
    assert list(made["reason"]) == [words] * 2
    assert list(made["needed_depth_m"]) == pytest.approx([1.3, 0.8])


def test_the_level_counts_for_known_hazards_too():
    for level, cares in ((0.0, ["run"]), (-0.25, ["run", "idle"]), (0.35, [])):
        made = marked(flat(9.0), known_hazards=known(top_depth_m=[1.0]), level_m=level)
        assert list(made["care"]) == cares
        assert list(made["least_depth_m"]) == pytest.approx([1.0 + level] * len(cares))


def test_a_known_hazard_without_radius_has_the_one_told_and_a_negative_one_is_refused():
    for radius, wide in (([4.0], 6.0), ([math.nan], 9.0), ([0.0], 2.0)):
        made = marked(flat(9.0), known_hazards=known(radius_m=radius), hazard_radius_m=7.0)
        west, _, east, _ = made.total_bounds
        assert wide <= (east - west) / 2 <= 1.01 * wide
    with pytest.raises(DataError, match=r"known_hazards\.radius_m is -1 in row 0; it must be 0 m or more"):
        marked(flat(9.0), known_hazards=known(radius_m=[-1.0]))


def test_hazards_to_run_come_first_and_are_numbered_by_care():
    depth = np.full((10, 20), 5.0)
    depth[:, :2], depth[:, 10:12], depth[4, 18] = 0.6, 1.1, np.nan
    made = marked(flat(depth), known_hazards=known(top_depth_m=[0.9]))
    assert list(made["care"]) == sorted(made["care"], reverse=True)
    for care in ("run", "idle"):
        ids = list(made.loc[made["care"] == care, "hazard_id"])
        assert ids == [f"{care}-{number + 1}" for number in range(len(ids))]
    nowhere = made[made["reason"] == "no depth known"]
    assert sorted(nowhere["care"]) == ["idle", "run"]
    assert nowhere["least_depth_m"].isna().all()
    assert nowhere.geometry.iloc[0].bounds == pytest.approx((175, 45, 195, 65))
    thin = made[made["reason"].str.startswith("less than 0.8 m (2.62 ft) at idle")]
    assert list(thin["least_depth_m"]) == pytest.approx([0.6], abs=1e-6)


def test_depths_less_sure_than_the_error_counted_widen_a_hazard_and_as_sure_ones_leave_it():
    depth = np.full((10, 20), 2.0)
    depth[:, :5] = 1.0
    sure = marked(flat(depth, 0.1))
    unsure = np.full((10, 20), 0.1)
    unsure[:, 15:] = 1.0
    doubtful = marked(flat(depth, 0.1), depth_confidence=flat(unsure))
    for care in ("run", "idle"):
        one, two = (shapely.union_all(m[m["care"] == care].geometry.to_numpy()) for m in (sure, doubtful))
        assert shapely.difference(one, two).area == pytest.approx(0.0, abs=1e-6)
        assert shapely.intersects_xy(two, 190, 50) == (care == "run")  # 2.0 - 0.9 lies between the two needs
        assert not shapely.intersects_xy(two, 120, 50)
    assert doubtful["reason"].str.contains("less sure").any()
    assert not sure["reason"].str.contains("less sure").any()


def test_doubted_depths_are_lowered_by_what_the_doubt_exceeds_the_error():
    surface, local = flat(5.0), np.full((10, 20), 0.2)
    local[0, 0], local[0, 1], local[0, 2] = 1.0, 0.5, np.nan
    found = doubted(surface, flat(local), 0.5).depth_m
    assert found[0, :4].tolist() == pytest.approx([4.5, 5.0, 5.0, 5.0])
    # On a grid of its own the doubt is read off at each centre.
    coarse = DepthSurface(np.full((2, 4), 0.9, dtype="f4"), -100.0, 200.0, 100.0, 100.0, CRS, 0.0)
    assert doubted(surface, coarse, 0.5).depth_m == pytest.approx(np.full((10, 20), 4.6))
    half = DepthSurface(
        np.full((5, 10), 0.7, dtype="f4"), 0.0, 100.0, 20.0, 20.0, CRS, 0.0
    )  # the same bounds
    assert doubted(surface, half, 0.5).depth_m == pytest.approx(np.full((10, 20), 4.8))
    moved = DepthSurface(local.astype("f4"), 5.0, 100.0, 10.0, 10.0, CRS, 0.0)
    assert doubted(surface, moved, 0.5).depth_m[0, 1] == pytest.approx(
        5.0 - (0.75 - 0.5)
    )  # half-way 1.0 to 0.5


# --- isobaths ------------------------------------------------------------------------------------------------------------


def test_nothing_is_shallower_than_all_and_all_than_more():
    assert shallower_than(flat(5.0), 4.999).is_empty
    for metres in (5.0, 5.001):  # what is just as deep may count
        assert shallower_than(flat(5.0), metres).area == pytest.approx(20_000, abs=1.0)
    for wrong in (math.nan, math.inf):
        with pytest.raises(UsageError, match="give a finite length"):
            shallower_than(flat(5.0), wrong)
        with pytest.raises(UsageError, match="tolerance"):
            shallower_than(flat(5.0), 4.0, tolerance_m=wrong)
    with pytest.raises(UsageError, match="0 m or more"):
        shallower_than(flat(5.0), 4.0, tolerance_m=-0.1)


def test_a_deep_hole_in_shallow_water_is_a_hole_and_is_closed_on_demand_only():
    depth = np.full((10, 20), 1.0)
    depth[5, 10] = 3.0  # 2 m lies half-way to the neighbours: a diamond of 10 m across, bent inwards
    found = shallower_than(flat(depth), 2.0, tolerance_m=0.0)
    hole = 20_000 - found.area
    # On a bilinear cell x y = 1/2 of its unit square: the area of four such corners, 4 (1/2 - ln 2 / 2) cells.
    assert hole == pytest.approx(400 * (0.5 - math.log(2) / 2), rel=0.2)
    assert not shapely.intersects_xy(found, 105, 45)
    assert shallower_than(flat(depth), 2.0, tolerance_m=0.0, least_hole_m2=1.1 * hole).area == pytest.approx(
        20_000, abs=1.0
    )
    assert shallower_than(flat(depth), 2.0, tolerance_m=0.0, least_hole_m2=0.9 * hole).area == pytest.approx(
        found.area
    )


def test_rings_that_cross_are_refused_and_no_hole_is_dropped():
    outer, apart = [(0, 0), (4, 0), (4, 4), (0, 4)], [(6, 6), (6, 7), (7, 7), (7, 6)]
    within = [(1, 1), (1, 2), (2, 2), (2, 1)]
    for hole, area in ((within, 15.0), (apart, None)):
        corners, offsets = np.array(outer + hole, dtype=float), np.array([0, 4, 8])
        if area is None:
            with pytest.raises(AssertionError, match="1 of 1 holes lie in no outer ring"):
                isobaths._polygons(corners, offsets, 0.0)
        else:
            assert isobaths._polygons(corners, offsets, 0.0).area == area


def test_a_ring_without_area_is_no_water():
    corners = np.array([(0, 0), (4, 0), (4, 4), (0, 4), (6, 6), (7, 7), (8, 8)], dtype=float)
    found = isobaths._polygons(corners, np.array([0, 4, 7]), 0.0)
    assert [part.area for part in found.geoms] == [16.0]


@pytest.mark.parametrize(("cell_m", "stray_m"), [(1.0, 0.25), (4.0, 1.0), (8.0, 2.0), (20.0, 2.0)])
def test_outlines_stray_a_quarter_of_a_cell_and_two_metres_at_most(cell_m, stray_m):
    x, y = np.meshgrid(np.arange(40.0), np.arange(30.0))
    rough = (5 + 0.2 * (x - 20) + np.sin(x * 1.7) + np.cos(y * 2.3)).astype("f4")
    surface = DepthSurface(rough, 0.0, 30 * cell_m, cell_m, cell_m, CRS, 0.0)
    exact = shallower_than(surface, 5.0, tolerance_m=0.0)
    usual, told = shallower_than(surface, 5.0), shallower_than(surface, 5.0, tolerance_m=stray_m)
    assert usual.equals_exact(told)
    assert shapely.difference(exact, usual).area <= 1e-6 * exact.area
    assert not usual.equals_exact(shallower_than(surface, 5.0, tolerance_m=stray_m / 2))


def test_water_of_no_depth_is_drawn_to_the_next_known_centres():
    depth = np.full((10, 20), 5.0)
    depth[4, 18] = np.nan
    assert unknown_area(flat(depth)).bounds == pytest.approx((175, 45, 195, 65))
    assert unknown_area(flat(depth)).area == pytest.approx(400)
    for row, column, at in ((4, 10, (95, 45, 115, 65)), (0, 0, (0, 85, 15, 100)), (9, 19, (185, 0, 200, 15))):
        one = np.full((10, 20), 5.0)
        one[row, column] = np.nan
        assert unknown_area(flat(one)).bounds == pytest.approx(at)
    assert unknown_area(flat(5.0)).is_empty


# --- broken layers -----------------------------------------------------------------------------------------------------


BOW = shapely.Polygon([(0, 0), (100, 100), (100, 0), (0, 100)])


def test_a_geometry_is_made_sound_and_it_is_said_whether_it_had_to_be():
    assert sound(None) == (shapely.MultiPolygon(), False)
    assert sound(shapely.box(0, 0, 1, 1)) == (shapely.box(0, 0, 1, 1), False)
    whole, repaired = sound(BOW)
    assert repaired
    assert whole.is_valid
    assert whole.area == pytest.approx(5000)
    two = shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(2, 0, 3, 1)])
    assert sound(two) == (two, False)
    line = shapely.GeometryCollection([shapely.LineString([(0, 0), (9, 9)]), shapely.box(0, 0, 1, 1)])
    assert sound(line) == (shapely.box(0, 0, 1, 1), False)


def test_broken_water_hazards_and_zones_are_kept_from_all_the_same():
    water = frame([BOW, None], water_id=["a", "b"])
    with pytest.warns(DataWarning, match="invalid polygons"):
        running, idling = safe_waters(water, None, clearance_m=2.0)
    assert shapely.distance(idling, shapely.boundary(shapely.make_valid(BOW))) >= 2.0
    sea = frame([shapely.box(-50, -50, 150, 150)])
    for layers in ({"hazards": frame([BOW], care=["idle"])}, {"zones": frame([BOW], zone=["no_entry"])}):
        running, idling = safe_waters(sea, **layers, clearance_m=2.0)
        for one in (running, idling):
            assert shapely.distance(one, shapely.make_valid(BOW)) >= 2.0
            assert shapely.intersects_xy(one, 120, 50)


def test_rows_of_a_layer_are_left_out_by_word():
    layer = frame([shapely.box(0, 0, 1, 1), shapely.box(5, 0, 6, 1)], zone=["slow", "dam"])
    assert [part.bounds[0] for part in kept_out_of(layer, "zone", "slow")] == [5]
    assert [part.bounds[0] for part in kept_out_of(layer)] == [0, 5]
    assert kept_out_of(None) == kept_out_of(layer.iloc[:0]) == []
    with pytest.raises(DataError, match="column 'care' is missing; there are zone, geometry"):
        kept_out_of(layer, "care", "run")


def test_much_rough_shore_is_kept_from_all_over(monkeypatch):
    """More pieces of shore too near than are cut out one by one: the whole offset grows until it holds."""
    turn = np.linspace(0.0, 2.0 * np.pi, 401)[:-1]
    radius = 500.0 + 3.0 * (np.arange(400) % 2)
    star = shapely.Polygon(np.column_stack([radius * np.cos(turn), radius * np.sin(turn)]))
    for few in (0, 500):
        monkeypatch.setattr(safe_water, "_FEW", few)
        inner = shrink(star, 20.0, tolerance_m=4.0)
        assert shapely.distance(inner, shapely.boundary(star)) >= 20.0
        assert shapely.covers(star, inner)
        assert inner.area >= math.pi * 470.0**2


def short_by_a_tenth(geometry, distance, **told):
    return BUFFER(geometry, 0.9 * distance if np.all(np.asarray(distance) < 0) else distance, **told)


def blind_to_islands(geometry, distance, **told):
    made = BUFFER(geometry, distance, **told)
    return shapely.Polygon(made.exterior) if np.all(np.asarray(distance) < 0) else made


BUFFER = shapely.buffer


@pytest.mark.parametrize("offset", [short_by_a_tenth, blind_to_islands])
@pytest.mark.parametrize("few", [0, 500])
def test_clearance_is_kept_though_the_library_that_offsets_did_not(monkeypatch, offset, few):
    """What comes out is measured, and mended until it holds: an offset too small, an island forgotten."""
    water = shapely.box(0, 0, 400, 300).difference(shapely.box(180, 130, 220, 170))
    monkeypatch.setattr(safe_water.shapely, "buffer", offset)
    monkeypatch.setattr(safe_water, "_FEW", few if offset is short_by_a_tenth else 500)
    inner = shrink(water, 20.0)
    monkeypatch.undo()
    assert shapely.covers(water, inner)
    assert shapely.distance(inner, shapely.boundary(water)) >= 20.0
    assert shapely.covers(inner, shapely.box(26, 26, 150, 274))


def test_where_no_clearance_can_be_reached_it_is_refused_and_not_guessed(monkeypatch):
    monkeypatch.setattr(safe_water.shapely, "buffer", lambda geometry, *_, **__: geometry)
    monkeypatch.setattr(safe_water, "_FEW", 0)
    with pytest.raises(DataError, match=r"a clearance of 20 m could not be kept \(reached 0 m\)"):
        shrink(shapely.box(0, 0, 400, 300), 20.0)


def test_a_finely_drawn_shore_is_simplified_within_the_tolerance_only():
    round_water = shapely.Point(0, 0).buffer(500, quad_segs=500)
    simple, exact = shrink(round_water, 20.0), shrink(round_water, 20.0, tolerance_m=0.0)
    # Chords of a circle of 500 m that stray 2 m at most are up to 89 m long: 36 of them and more, not 2,000.
    assert 36 <= len(simple.exterior.coords) < 300
    assert len(exact.exterior.coords) > 1000
    assert math.pi * 474**2 < simple.area < exact.area < math.pi * 480**2


def test_layers_may_hold_nothing():
    empty = gpd.GeoDataFrame({"care": []}, geometry=[], crs=CRS)
    running, idling = safe_waters(WATER, empty, clearance_m=3.0)
    assert running.equals(idling)
