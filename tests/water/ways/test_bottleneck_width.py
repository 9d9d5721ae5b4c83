"""Widths of straits against geometry and shapely's own offsets; words that name the trouble and what opens the way."""

from __future__ import annotations

import math
import re

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely

from castshed.toolbox.water.ways.bottlenecks import narrowest
from castshed.toolbox.water.ways.navigation import SafeWater
from castshed.toolbox.water.ways.passages import passages
from castshed.toolbox.water.ways.safe_water import LakeToday, safe_waters, shrink
from made_waters import narrows, points_on, ragged_water

CRS = pyproj.CRS.from_epsg(32615)


def frame(geometry, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(geometry), crs=CRS)


def width_by_offsets(water, start, stop, most):
    """Bisection over shapely's finely rounded inward offsets: the widest that keeps both points in one part."""
    low, high = 0.0, most
    for _ in range(30):
        width = (low + high) / 2.0
        parts = shapely.get_parts(shapely.buffer(water, -width / 2.0, quad_segs=64))
        both = shapely.intersects_xy(parts, *start) & shapely.intersects_xy(parts, *stop)
        low, high = (width, high) if both.any() else (low, width)
    return low


def test_widths_equal_those_found_by_offsets():
    compared = 0
    for seed in range(90):
        water = (
            narrows(seed, 2)
            if seed % 2
            else max(shapely.get_parts(ragged_water(seed, 40, 6)), key=shapely.area)
        )
        points = points_on(water, 4, seed)[:4]
        own = 2.0 * shapely.distance(shapely.points(points), shapely.boundary(water))
        for stop, strait, room in zip(
            points[1:], narrowest(SafeWater.build(water), points[0], points[1:]), own[1:], strict=True
        ):
            most = min(own[0], room)
            if strait is None or strait.width_m > most:
                continue
            wanted = width_by_offsets(water, points[0], stop, most)
            if wanted < 0.999 * most:
                assert strait.width_m == pytest.approx(wanted, rel=5e-4)
                compared += 1
    assert compared >= 60


def canal(width=20.0):
    """Two basins joined by a straight canal."""
    y = width / 2.0
    return shapely.union_all(
        [shapely.box(0, -100, 200, 100), shapely.box(199, -y, 401, y), shapely.box(400, -100, 600, 100)]
    )


def test_strait_of_a_canal_has_its_width_and_lies_in_it():
    (strait,) = narrowest(SafeWater.build(canal(20.0)), (100, 0), [(500, 0)])
    assert strait.width_m == pytest.approx(20.0, abs=1e-9)
    assert 199 <= strait.x <= 401
    assert abs(strait.y) <= 10.0


def test_no_strait_where_no_way_leads_or_nothing_narrows_it():
    water = SafeWater.build(shapely.MultiPolygon([shapely.box(0, 0, 9, 9), shapely.box(20, 0, 29, 9)]))
    found = narrowest(water, (1, 1), [(25, 5), (15, 5), (1, 1), (1.5, 1.2)])
    assert found == [None] * 4
    assert narrowest(water, (15, 5), [(1, 1)]) == [None]
    assert narrowest(water, (1, 1), np.empty((0, 2))) == []


def ask(xy, water, hazards=None, zones=None, clearance_m=5.0):
    lake = LakeToday(water, hazards, zones, clearance_m)
    running, idling = safe_waters(water, hazards, zones, clearance_m=clearance_m)
    both = SafeWater.build(running), SafeWater.build(idling)
    found = passages(xy, *both, run_speed_mps=10.0, idle_speed_mps=2.0, lake=lake).reason
    # Lengths come in metres and, in brackets, in feet or miles.
    return [re.sub(r" \([\d.]+ (ft|mi)\)", "", text) for text in found]


def test_strait_too_narrow_is_named_with_its_width_and_what_opens_it():
    water = frame([canal(20.0)], water_id=["w"])
    start, reason = ask([(100, 0), (500, 0)], water, clearance_m=12.0)
    assert start == ""
    assert "strait 20 m wide" in reason
    assert "keep 12 m clear" in reason
    opens = float(re.search(r"keeping ([\d.]+) m clear would open it", reason)[1])
    assert ask([(100, 0), (500, 0)], water, clearance_m=opens) == ["", ""]


def test_clearance_said_to_free_a_stop_near_the_shore_does():
    raw = ragged_water(8, 60, 6)
    water = frame([raw], water_id=["w"])
    asked = 0
    for point in points_on(raw, 300, 8)[:300]:
        if 1.0 < shapely.distance(shapely.boundary(raw), shapely.Point(point)) < 11.0:
            (reason,) = ask([point], water, clearance_m=10.0)
            opens = float(re.search(r"from the shore, .* keeping ([\d.]+) m clear would open it", reason)[1])
            assert shapely.intersects_xy(shrink(raw, opens), *point)
            asked += 1
    assert asked >= 3


def lake():
    water = frame([shapely.box(0, 0, 1000, 500), shapely.box(2000, 0, 2500, 500)], water_id=["a", "b"])
    hazards = frame(
        [shapely.box(300, 0, 340, 500), shapely.box(600, 100, 640, 140)],
        care=["idle", "idle"],
        reason=["bar of 0.3 m", "stumps"],
    )
    zones = frame(
        [shapely.box(800, 0, 850, 500), shapely.box(100, 100, 150, 150)],
        zone=["no_entry", "no_motor"],
        reason=["dam", "swimmers"],
    )
    return water, hazards, zones


@pytest.mark.parametrize(
    ("stop", "words"),
    [
        ((-12.5, 250), "off today's water, which begins 12.5 m away; higher water may open a way"),
        ((1500, 250), "off today's water, which begins 500 m away"),
        ((320, 250), "in water too thin even to idle (bar of 0.3 m)"),
        ((620, 120), "in water too thin even to idle (stumps)"),
        ((125, 125), "in a closed zone (swimmers)"),
        ((200, 3), "only 3 m from the shore, where this boat keeps 5 m clear"),
        ((298, 250), "only 2 m from a hazard"),
        ((125, 152), "only 2 m from a closed zone"),
        ((500, 250), "cut off from the start by water too thin even to idle; higher water may open a way"),
        ((2250, 250), "in another water than the start"),
    ],
)
def test_each_trouble_has_its_words(stop, words):
    water, hazards, zones = lake()
    reason = ask([(200, 250), stop], water, hazards, zones)
    assert reason[0] == ""
    assert reason[1].startswith(words)


def test_closed_zone_between_start_and_stop_is_named():
    water, _, zones = lake()
    assert ask([(200, 250), (900, 250)], water, None, zones)[1] == "cut off from the start by a closed zone"


def test_stop_just_within_the_offset_is_not_told_it_is_too_near():
    water = frame([shapely.box(0, 0, 1000, 1000)], water_id=["w"])
    (reason,) = ask([(5.2, 500)], water, clearance_m=5.0)
    assert reason.startswith("5.2 m from the shore, where this boat keeps 5 m clear")


def test_start_off_the_water_is_the_reason_of_all():
    water, hazards, zones = lake()
    start, stop, dry = ask([(-3, 250), (200, 250), (-9, 250)], water, hazards, zones)
    assert start.startswith("off today's water, which begins 3 m away")
    assert stop == f"the start cannot be used: {start}"
    assert dry.startswith("off today's water, which begins 9 m away")


def test_no_water_today_is_the_reason_of_all():
    assert ask([(0, 0), (1, 1)], frame([], water_id=[])) == ["there is no water today"] * 2


def test_width_does_not_change_when_the_lake_is_turned():
    raw = narrows(5, 2)
    points = points_on(raw, 3, 5)[:3]
    angle = math.radians(33.0)
    turning = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    there = shapely.transform(raw, lambda xy: xy @ turning)
    here = narrowest(SafeWater.build(raw), points[0], points[1:])
    moved = points @ turning
    turned = narrowest(SafeWater.build(there), moved[0], moved[1:])
    assert [s.width_m for s in turned] == pytest.approx([s.width_m for s in here], rel=1e-9)
