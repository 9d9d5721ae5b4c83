"""A run with few turns keeps the clearance of the legs; truth by geometry, and by another program on the demo day."""

from __future__ import annotations

import json
import math

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from castshed.toolbox.layers.reading import read_layer
from castshed.toolbox.water.runs.thinned_route import SHORT_M, as_route, thinned, thinned_route
from castshed.toolbox.water.ways.alongside import Edges, edges_to_keep_from
from other_programs import program, told_by

CRS = "EPSG:32615"
X0, Y0 = 500_000.0, 4_000_000.0
KEEP = 10.0


def edges(*areas):
    rings = [shapely.get_coordinates(one.exterior) for one in areas]
    pieces = [shapely.LineString(pair) for ring in rings for pair in zip(ring[:-1], ring[1:], strict=True)]
    return Edges(np.array([*pieces, None], dtype=object)[:-1], np.full(len(pieces), "shore", dtype=object))


def round_a_disc(radius, chords, half_angle):
    """A way that rounds a disc on chords of a circle a little wider than the clearance, from one tangent to the other."""
    angles = np.linspace(math.pi / 2 + half_angle, math.pi / 2 - half_angle, chords + 1)
    wide = (radius + KEEP + 0.2) / math.cos(half_angle / chords)
    arc = np.column_stack([wide * np.cos(angles), wide * np.sin(angles)])
    before, after = (
        arc[end] + 500.0 * np.array([math.cos(angles[end] + turn), math.sin(angles[end] + turn)])
        for end, turn in ((0, math.pi / 2), (-1, -math.pi / 2))
    )
    return np.vstack([before, arc, after]) + np.array([X0, Y0])


@settings(max_examples=30, deadline=None)
@given(radius=st.floats(15.0, 80.0), chords=st.integers(4, 12), half=st.floats(0.1, 0.6))
def test_an_arc_becomes_few_turns_that_keep_as_clear(radius, chords, half):
    disc = shapely.Point(X0, Y0).buffer(radius, quad_segs=64)
    way = round_a_disc(radius, chords, half)
    found = thinned(way, shapely.STRtree(edges(disc).segments), KEEP, gpd.GeoSeries(crs=CRS).crs)
    assert shapely.LineString(way).distance(disc) >= KEEP
    assert shapely.LineString(found).distance(disc) >= KEEP - 1e-9
    assert len(found) < len(way)
    assert np.array_equal(found[[0, -1]], way[[0, -1]])


def test_two_tangents_meet_in_one_corner():
    """Worked: the corner of two tangents of a circle of radius R that turn by 2a lies R / cos a from its middle."""
    radius, half = 40.0, 0.3
    disc = shapely.Point(X0, Y0).buffer(radius, quad_segs=64)
    way = round_a_disc(radius, 8, half)
    found = thinned(way, shapely.STRtree(edges(disc).segments), KEEP, gpd.GeoSeries(crs=CRS).crs)
    assert len(found) == 3
    assert np.hypot(*(found[1] - (X0, Y0))) == pytest.approx((radius + KEEP + 0.2) / math.cos(half), rel=0.02)


def test_a_way_that_can_lose_no_turn_stays():
    walls = [
        shapely.box(X0 + 100 * k, Y0 - 400 * (k % 2), X0 + 100 * k + 20, Y0 + 400 * (1 - k % 2))
        for k in range(4)
    ]
    way = np.array([(X0 - 100, Y0 - 20), (X0 + 60, Y0 - 20), (X0 + 60, Y0 + 20), (X0 + 160, Y0 + 20)])
    found = thinned(way, shapely.STRtree(edges(*walls).segments), KEEP, gpd.GeoSeries(crs=CRS).crs)
    line = shapely.LineString(found)
    assert min(line.distance(wall) for wall in walls) >= KEEP - 1e-9
    assert len(found) <= len(way)


def test_a_route_has_the_rows_of_the_legs():
    line = shapely.LineString([(X0, Y0), (X0 + 100, Y0), (X0 + 200, Y0 + 50)])
    legs = gpd.GeoDataFrame(
        {"leg_no": [1, 1], "part": ["launch", "run"], "from_id": ["r", "r"], "to_id": ["a", "a"]},
        geometry=[line, line],
        crs=CRS,
    )
    far = edges(shapely.box(X0, Y0 + 5000, X0 + 1, Y0 + 5001))
    route = thinned_route(legs, far, far, run_clearance_m=KEEP, idle_clearance_m=5.0)
    assert route["turns"].tolist() == [1, 0]  # a launch stays as it is
    assert list(route.columns) == ["leg_no", "part", "from_id", "to_id", "turns", "distance_m", "geometry"]
    assert as_route(legs)["turns"].tolist() == [1, 1]


def test_the_route_of_the_demo_day_as_another_program_reads_it(planned_demo_day):
    """Read by GDAL: at most 60 points, hops of 30 m and more but at ramps, as clear of everything as the boat asks."""
    folder = planned_demo_day / "my_day"
    said = told_by(
        program("ogr2ogr", "gdal-bin"), "-f", "GeoJSON", "/vsistdout/", folder / "run.gpx", "route_points"
    )
    points = [one["geometry"]["coordinates"][:2] for one in json.loads(said)["features"]]
    assert 20 < len(points) <= 60
    layers = {
        name: read_layer(f"{folder / 'plan.gpkg'}:{name}")
        for name in ("water", "shallow_hazards", "zones", "legs")
    }
    crs = layers["legs"].crs
    xy = np.array([(p.x, p.y) for p in gpd.GeoSeries.from_xy(*np.array(points).T, crs=4326).to_crs(crs)])
    hops = np.hypot(*np.diff(xy, axis=0).T)
    ramp = layers["legs"].loc[layers["legs"]["part"] != "run", "distance_m"].sum() / 2.0
    assert (hops[1:-1] >= SHORT_M).all()
    assert hops[[0, -1]] == pytest.approx([ramp, ramp], abs=1.0)  # to the water one can run on
    # day.toml: half of 8 ft beam, 10 ft position error, 20 ft clearance
    keep = (8.0 / 2.0 + 10.0 + 20.0) * 0.3048
    off = edges_to_keep_from(layers["water"], layers["shallow_hazards"], layers["zones"], running=True)
    lines = shapely.linestrings(np.stack([xy[1:-2], xy[2:-1]], axis=1))
    _, clear = shapely.STRtree(off.segments).query_nearest(lines, return_distance=True, all_matches=False)
    assert clear.min() >= keep - 0.02
    way_points = told_by(program("ogrinfo", "gdal-bin"), "-ro", "-so", folder / "run.gpx", "waypoints")
    assert "Feature Count: 15" in way_points  # twelve stops and the three ramps
