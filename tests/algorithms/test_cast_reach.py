"""cast-reach: the ring against circle geometry, sight lines against plain lines over water."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely

from castshed.algorithms.cast_reach import cast_reach
from castshed.toolbox.errors import UsageError
from castshed.toolbox.testing import check_algorithm
from castshed.toolbox.water.holds.cast_ring import cast_reaches
from castshed.toolbox.water.holds.wind_cast import wind_shape

CRS = "EPSG:32615"
X0, Y0 = 500_000.0, 4_000_000.0
LEAST, MOST = 12.192, 27.432


def spots_of(*geometries):
    return gpd.GeoDataFrame(
        {"spot_id": [f"s{k}" for k in range(len(geometries))]}, geometry=list(geometries), crs=CRS
    )


def water_of(*polygons):
    return gpd.GeoDataFrame(
        {"water_id": [f"w{k}" for k in range(len(polygons))]}, geometry=list(polygons), crs=CRS
    )


def segment_area(radius, distance):
    """Area of a disc beyond a line at a distance from its centre (geometry)."""
    if distance >= radius:
        return 0.0
    return radius**2 * np.arccos(distance / radius) - distance * np.sqrt(radius**2 - distance**2)


LAKE = shapely.box(X0 - 500, Y0 - 500, X0 + 500, Y0 + 500)


def test_in_open_water_the_reach_is_the_full_ring():
    reach = cast_reach(spots_of(shapely.Point(X0, Y0)), water_of(LAKE))
    assert reach["status"].tolist() == ["ok"]
    assert reach["area_m2"][0] == pytest.approx(np.pi * (MOST**2 - LEAST**2), rel=2e-3)
    assert reach["reason"][0] == "all of the ring is open water"


def test_round_a_line_the_ring_has_straight_sides_and_round_ends():
    line = shapely.LineString([(X0, Y0), (X0 + 100, Y0)])
    reach = cast_reach(spots_of(line), water_of(LAKE))
    expected = np.pi * (MOST**2 - LEAST**2) + 2 * 100 * (MOST - LEAST)
    assert reach["area_m2"][0] == pytest.approx(expected, rel=2e-3)


def test_round_a_square_the_ring_has_the_area_of_geometry():
    square = shapely.box(X0, Y0, X0 + 60, Y0 + 60)
    reach = cast_reach(spots_of(square), water_of(LAKE))
    expected = np.pi * (MOST**2 - LEAST**2) + 4 * 60 * (MOST - LEAST)
    assert reach["area_m2"][0] == pytest.approx(expected, rel=2e-3)


@pytest.mark.parametrize("distance", [2.0, 8.0, 15.0, 25.0])
def test_a_straight_bank_cuts_the_ring_by_circle_segments(distance):
    reach = cast_reach(spots_of(shapely.Point(X0 - 500 + distance, Y0)), water_of(LAKE))
    cut = segment_area(MOST, distance) - segment_area(LEAST, distance)
    assert reach["area_m2"][0] == pytest.approx(np.pi * (MOST**2 - LEAST**2) - cut, rel=2e-3)
    assert reach["reason"][0] == "land takes part of the ring"


def test_a_round_island_shades_what_lies_behind_it():
    radius, away = 3.0, 10.0
    island = shapely.Point(X0 + away, Y0).buffer(radius, quad_segs=64)
    reach = cast_reach(spots_of(shapely.Point(X0, Y0)), water_of(LAKE.difference(island)))
    # The sight lines that touch the island do so sqrt(100 - 9) = 9.5 m off, nearer than the ring: in the ring the
    # shade is a sector of half-angle asin(r / d) (geometry).
    half = np.arcsin(radius / away)
    full = np.pi * (MOST**2 - LEAST**2)
    assert reach["area_m2"][0] == pytest.approx(full * (1 - half / np.pi), rel=3e-3)


def jagged_lake(seed):
    rng = np.random.default_rng(seed)
    turn = np.linspace(0, 2 * np.pi, 900, endpoint=False)
    out = 600 * (1 + 0.2 * np.sin(5 * turn) + 0.1 * np.sin(23 * turn) + 0.03 * rng.standard_normal(900))
    lake = shapely.make_valid(shapely.Polygon(np.column_stack([out * np.cos(turn), out * np.sin(turn)])))
    islands = []
    for _ in range(40):
        turn = np.sort(rng.random(14)) * 2 * np.pi
        out = 25 * (1 + 0.5 * rng.random(14))
        shape = shapely.Polygon(np.column_stack([out * np.cos(turn), out * np.sin(turn)]))
        islands.append(shapely.affinity.translate(shape, *rng.uniform(-350, 350, 2)).buffer(0))
    return lake.difference(shapely.union_all(islands)), rng


@pytest.mark.parametrize("seed", [1, 2])
def test_a_place_is_in_reach_exactly_when_a_straight_line_over_water_leads_to_the_spot(seed):
    lake, rng = jagged_lake(seed)
    edge = lake.boundary
    near_shore = shapely.get_coordinates(edge.interpolate(rng.random(150) * edge.length))
    xy = near_shore + rng.normal(0, 12, near_shore.shape)
    afloat = shapely.contains_xy(lake, xy) & (shapely.distance(shapely.points(xy), edge) > 0.05)
    xy = xy[afloat]
    found = cast_reaches(shapely.points(xy), np.array(shapely.get_parts(lake)), least_m=LEAST, most_m=MOST)
    wrong = tried = 0
    for spot, area in zip(xy, found.area, strict=True):
        angle, out = rng.random(60) * 2 * np.pi, rng.uniform(LEAST + 0.05, MOST - 0.05, 60)
        places = spot + np.column_stack([out * np.cos(angle), out * np.sin(angle)])
        lines = shapely.linestrings(np.stack([places, np.broadcast_to(spot, places.shape)], axis=1))
        wrong += int((shapely.covers(lake, lines) != shapely.contains_xy(area, places)).sum())
        tried += 60
    assert tried > 3000
    assert wrong == 0
    assert any(found.cut)
    assert shapely.is_valid(found.area).all()


def test_lines_and_polygons_reach_nothing_that_is_out_of_sight():
    lake, rng = jagged_lake(3)
    shapely.prepare(lake)
    edge = lake.boundary
    start = shapely.get_coordinates(edge.interpolate(rng.random(25) * edge.length))
    lines = shapely.linestrings(np.stack([start, start + rng.normal(0, 30, start.shape)], axis=1))
    shapes = np.concatenate([lines, shapely.buffer(lines, 6)])
    found = cast_reaches(shapes, np.array([lake]), least_m=LEAST, most_m=MOST)
    for shape, area in zip(shapes, found.area, strict=True):
        if area.is_empty:
            continue
        assert area.difference(lake.buffer(1e-6)).area < 1e-6
        gap = shapely.distance(shapely.points(shapely.get_coordinates(area)), shape)
        assert gap.min() >= LEAST * 0.998
        assert gap.max() <= MOST + 1e-6
        target = shape if shape.geom_type == "LineString" else shape.exterior
        marks = shapely.get_coordinates(
            target.interpolate(np.linspace(0, target.length, 4 * int(target.length) + 8))
        )
        low, high = np.array(area.bounds[:2]), np.array(area.bounds[2:])
        places = rng.uniform(low, high, (40, 2))
        places = places[shapely.contains_xy(shapely.buffer(area, -0.3), places)]
        for place in places:
            sight = shapely.linestrings(np.stack([np.broadcast_to(place, marks.shape), marks], axis=1))
            assert (shapely.covers(lake, sight) & (shapely.length(sight) <= MOST + 0.3)).any()


def test_turning_and_moving_everything_turns_and_moves_the_reach():
    lake, _ = jagged_lake(4)
    spot = lake.representative_point()
    areas = []
    for turn, by in ((0, (0, 0)), (37, (X0, Y0))):

        def move(shape, turn=turn, by=by):
            return shapely.affinity.translate(shapely.affinity.rotate(shape, turn, origin=(0, 0)), *by)

        near = move(shapely.Point(spot.x, spot.y))
        areas.append(
            cast_reaches(np.array([near]), np.array([move(lake)]), least_m=LEAST, most_m=300.0).area[0].area
        )
    assert areas[1] == pytest.approx(areas[0], rel=1e-3)


def test_a_spot_out_of_the_water_keeps_its_row_and_says_why():
    spots = spots_of(
        shapely.Point(X0 + 900, Y0),
        shapely.Point(X0 + 500, Y0),
        shapely.Point(X0 + 499, Y0),
        shapely.Point(X0, Y0),
    )
    tiny = shapely.Point(X0 + 2000, Y0).buffer(5)
    reach = cast_reach(spots, water_of(LAKE, tiny))
    assert reach["spot_id"].tolist() == ["s0", "s1", "s2", "s3"]
    assert reach["status"].tolist() == ["none", "none", "ok", "ok"]
    assert reach["reason"][0] == reach["reason"][1] == "on dry ground or on the shore today"
    assert reach["area_m2"][0] == 0
    assert not reach.geometry.is_empty.any()
    pond = cast_reach(spots_of(shapely.Point(X0 + 2000, Y0)), water_of(LAKE, tiny))
    assert pond["reason"].tolist() == ["no water within a cast is in line of sight"]


def test_a_line_far_longer_than_the_lake_is_reached_where_it_crosses_it():
    line = shapely.LineString([(X0 - 50_000, Y0), (X0 + 50_000, Y0)])
    area = cast_reach(spots_of(line), water_of(LAKE)).geometry[0]
    both_sides = 2 * 1000 * (MOST - LEAST)  # less the scallops between the places that are looked at
    assert 0.9 * both_sides < area.area < both_sides
    assert LAKE.covers(area)


def test_an_edge_that_two_waters_share_is_no_shore():
    west, east = (
        shapely.box(X0 - 500, Y0 - 500, X0 + 5, Y0 + 500),
        shapely.box(X0 + 5, Y0 - 500, X0 + 500, Y0 + 500),
    )
    reach = cast_reach(spots_of(shapely.Point(X0, Y0)), water_of(west, east))
    assert reach["area_m2"][0] == pytest.approx(np.pi * (MOST**2 - LEAST**2), rel=2e-3)


def test_parts_of_a_multi_spot_join_their_rings():
    beds = shapely.multipoints([(X0, Y0), (X0 + 200, Y0)])
    reach = cast_reach(spots_of(beds), water_of(LAKE))
    assert reach["area_m2"][0] == pytest.approx(2 * np.pi * (MOST**2 - LEAST**2), rel=2e-3)


def test_casts_out_of_order_are_refused():
    with pytest.raises(UsageError, match="the least cast must be shorter than the most"):
        cast_reach(spots_of(shapely.Point(X0, Y0)), water_of(LAKE), least_cast_m=30.0, most_cast_m=20.0)


def test_the_contract_of_the_toolbox(lake):
    water = water_of(lake.shoreline.geometry.iloc[0])
    reach = check_algorithm(cast_reach, lake.spots, water)
    assert reach.set_index("spot_id")["status"].to_dict()["island"] == "none"


# Wind, tall cover, vague marks -------------------------------------------------------------------------------


def test_in_the_wind_the_ring_is_drawn_in_where_the_cast_goes_upwind():
    spot = shapely.Point(X0, Y0)
    reach = cast_reach(spots_of(spot), water_of(LAKE), wind_from_deg=200.0, upwind_factor=0.6)
    area = reach.geometry[0]
    for bearing in range(0, 360, 9):  # of the boat; its cast goes the other way
        a = np.radians(bearing)
        ray = shapely.LineString([spot, (X0 + 40 * np.sin(a), Y0 + 40 * np.cos(a))])
        most = MOST * (1 - 0.4 * max(np.cos(np.radians(bearing + 180 - 200.0)), 0))
        assert ray.intersection(area).length == pytest.approx(most - LEAST, abs=0.03)
    # Half a disc, and half of r = 1 - 0.4 cos: pi / 2 (1 + 0.16 / 2) - 2 * 0.4 (integral of r squared over two).
    half = MOST**2 * (np.pi / 2 * (1 + 0.08) - 0.8)
    expected = np.pi / 2 * MOST**2 + half - np.pi * LEAST**2
    assert reach["area_m2"][0] == pytest.approx(expected, rel=3e-3)
    calm = cast_reach(spots_of(spot), water_of(LAKE), wind_from_deg=200.0, upwind_factor=1.0)
    assert calm["area_m2"][0] == pytest.approx(np.pi * (MOST**2 - LEAST**2), rel=2e-3)
    with pytest.raises(UsageError, match=r"share from 0\.5 to 1"):
        cast_reach(spots_of(spot), water_of(LAKE), upwind_factor=0.3)


def test_in_the_wind_a_place_is_in_reach_exactly_when_its_cast_is_no_longer_than_the_wind_allows():
    lake, rng = jagged_lake(6)
    edge = lake.boundary
    xy = shapely.get_coordinates(edge.interpolate(rng.random(60) * edge.length)) + rng.normal(0, 12, (60, 2))
    xy = xy[shapely.contains_xy(lake, xy) & (shapely.distance(shapely.points(xy), edge) > 0.05)]
    wind, factor = 75.0, 0.7
    found = cast_reaches(
        shapely.points(xy),
        np.array(shapely.get_parts(lake)),
        least_m=LEAST,
        most_m=MOST,
        shape=wind_shape(wind, factor),
    )
    tried = 0
    for spot, area in zip(xy, found.area, strict=True):
        angle, out = rng.random(60) * 2 * np.pi, rng.uniform(LEAST + 0.05, MOST, 60)
        places = spot + np.column_stack([out * np.cos(angle), out * np.sin(angle)])
        cast = spot - places
        upwind = np.cos(np.arctan2(cast[:, 0], cast[:, 1]) - np.radians(wind)).clip(0)
        most = MOST * (1 - (1 - factor) * upwind)
        clear_cut = np.abs(out - most) > 0.05
        places, out, most = places[clear_cut], out[clear_cut], most[clear_cut]
        lines = shapely.linestrings(np.stack([places, np.broadcast_to(spot, places.shape)], axis=1))
        expected = shapely.covers(lake, lines) & (out < most)
        assert (shapely.contains_xy(area, places) == expected).all()
        tried += len(places)
    assert tried > 1000


def test_tall_cover_shades_what_lies_behind_it_and_not_itself():
    spots = spots_of(shapely.Point(X0, Y0), shapely.Point(X0 + 9, Y0)).assign(
        kind=["brush", "standing_timber"], depth_m=[4.0, 4.0], height_m=[1.0, 5.0]
    )
    reach = cast_reach(spots, water_of(LAKE), footprint_m=3.0)
    # As for an island: the tangents touch at sqrt(81 - 9) = 8.5 m, so the ring loses a sector of half-angle asin(3/9).
    full = np.pi * (MOST**2 - LEAST**2)
    assert reach["area_m2"][0] == pytest.approx(full * (1 - np.arcsin(3 / 9) / np.pi), rel=6e-3)
    assert reach["reason"][0] == "land or tall cover takes part of the ring"
    assert reach["area_m2"][1] == pytest.approx(full, rel=2e-3)
    higher = cast_reach(spots, water_of(LAKE), footprint_m=3.0, level_m=1.5)  # 0.5 m of water over it
    assert higher["area_m2"][0] == pytest.approx(full, rel=2e-3)
    unknown = spots.assign(depth_m=np.nan, height_m=np.nan)
    assert cast_reach(unknown, water_of(LAKE), footprint_m=3.0)["area_m2"][0] < 0.95 * full
    within = spots.set_geometry([shapely.Point(X0 + 7, Y0), shapely.Point(X0 + 9, Y0)])
    assert cast_reach(within, water_of(LAKE), footprint_m=3.0)["area_m2"][0] == pytest.approx(full, rel=2e-3)


def test_the_coverage_tells_the_bottom_of_cover_that_lists_none(lake):
    water = water_of(lake.shoreline.geometry.iloc[0])
    spots = lake.spots.iloc[[1, 2]].reset_index(drop=True).assign(kind="brush", depth_m=np.nan, height_m=5.2)
    at = lake.spots.geometry.iloc[1]  # 5 m deep there
    spots = spots.set_geometry([shapely.affinity.translate(at, 10.0, 0.0), at]).assign(height_m=[0.0, 5.2])
    blind, told = cast_reach(spots, water), cast_reach(spots, water, depth=lake.depth)
    assert told["area_m2"][0] < 0.95 * blind["area_m2"][0]


def test_a_sure_ring_lies_within_the_casts_wherever_the_spot_lies_in_its_search_circle():
    spot = shapely.Point(X0, Y0)
    marks = spots_of(spot).assign(position_error_m=3.0)
    for wind, factor in ((None, 0.7), (140.0, 0.7)):
        reach = cast_reach(
            marks, water_of(LAKE), fix_error_m=4.0, sure=True, wind_from_deg=wind, upwind_factor=factor
        )
        assert reach["search_radius_m"][0] == pytest.approx(5.0)
        rng = np.random.default_rng(1)
        places = np.array([X0, Y0]) + rng.uniform(-30, 30, (800, 2))
        places = places[shapely.contains_xy(reach.geometry[0], places)]
        assert len(places) > 20
        a = np.linspace(0, 2 * np.pi, 90)
        true = np.column_stack([X0 + 5 * np.cos(a), Y0 + 5 * np.sin(a)])  # where the spot may really lie
        cast = true[None] - places[:, None]
        upwind = np.cos(np.arctan2(cast[..., 0], cast[..., 1]) - np.radians(wind or 0.0)).clip(0)
        most = MOST * (1 - (0.0 if wind is None else 1 - factor) * upwind)
        length = np.hypot(cast[..., 0], cast[..., 1])
        assert (length <= most + 1e-6).all()
        assert (length >= LEAST * 0.998).all()
    vague = cast_reach(marks.assign(position_error_m=9.0), water_of(LAKE), sure=True)
    assert vague["status"][0] == "none"
    assert "good to 9.502 m (31.2 ft) only" in vague["reason"][0]


def test_a_position_error_beyond_the_whole_cast_leaves_no_reach():
    reach = cast_reach(spots_of(shapely.Point(X0, Y0)), water_of(LAKE), fix_error_m=1e6, sure=True)
    assert reach["status"].tolist() == ["none"]
    assert reach["reason"][0].startswith("no place is surely within the casts")
