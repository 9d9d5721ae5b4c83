"""The last measure of ways before they are handed over is that of shapely on whole geometries."""

import geopandas as gpd
import numpy as np
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from castshed.toolbox.water.runs.run import least_clearances
from long_tests import as_many
from made_waters import points_on, ragged_water

CRS = 32615


def frame(geometry, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(geometry), crs=CRS)


def plain(line, water, things):
    """Distance to all that is kept out of and to the water's edge, thing by thing; 0 for what is ashore."""
    if not shapely.intersects(water, line):
        return 0.0
    edges = shapely.get_rings(shapely.get_parts(water))
    return min(*shapely.distance(edges, line), *(shapely.distance(thing, line) for thing in things))


def things_on(water, seed):
    """An area, several as one, a line, points and a collection, some with holes."""
    rng = np.random.default_rng(seed)
    at = shapely.points(points_on(water, 9, seed)[:9])
    round_ones = shapely.buffer(at, rng.uniform(5.0, 60.0, 9))
    ring = shapely.difference(round_ones[0], shapely.buffer(at[0], 2.0))
    several = shapely.union_all(round_ones[1:4])
    line = shapely.linestrings(shapely.get_coordinates(at[4:6]))
    mixed = shapely.geometrycollections([round_ones[6], at[7], line])
    return [ring, several, line, shapely.multipoints(at[7:9]), mixed]


@settings(max_examples=as_many(25), deadline=None)
@given(seed=st.integers(0, 10_000), far=st.sampled_from((0.0, 5e5)))
def test_the_clearance_of_ways_is_the_distance_to_whole_things(seed, far):
    water = ragged_water(seed, 40, 4)
    things = things_on(water, seed)
    rng = np.random.default_rng(seed)
    stops = points_on(water, 24, seed + 1)
    lines = [shapely.linestrings(stops[rng.integers(0, len(stops), k)]) for k in (2, 3, 5, 2, 7, 2)]
    middle = np.array([things[0].centroid.x, things[0].centroid.y])
    within = np.array([(-0.5, 0.0), (0.5, 0.0)]) + middle  # in the hole of an area
    across, ashore = stops[0] + np.array([(0, 0), (4e3, 4e3)]), np.array([(4e3, 0), (5e3, 0)])
    lines += [
        *shapely.linestrings([within, across, ashore]),
        *lines[:2],
        shapely.reverse(lines[2]),
    ]  # some twice
    wanted = [plain(line, water, things) for line in lines]
    there = [shapely.transform(one, lambda xy: xy + far) for one in (water, *things, *lines)]
    hazards = frame(there[1:4], care=["idle", "run", "idle"])
    zones = frame(there[4:6], zone=["no_entry", "no_motor"])
    found = least_clearances(
        np.array(there[6:], dtype=object), running=True, water=frame(there[:1]), hazards=hazards, zones=zones
    )
    np.testing.assert_allclose(found, wanted, rtol=0.0, atol=1e-6)
    assert min(found) == 0.0


def test_only_what_bars_the_boat_counts():
    water = frame([shapely.box(0, 0, 100, 100)])
    hazards = frame([shapely.box(40, 40, 50, 50), shapely.box(40, 60, 50, 70)], care=["run", "idle"])
    zones = frame([shapely.box(0, 30, 10, 100)], zone=["slow"])
    way = np.array([shapely.LineString([(57, 20), (57, 55)])])
    running, idling = (
        least_clearances(way, running=running, water=water, hazards=hazards, zones=zones)[0]
        for running in (True, False)
    )
    assert running == 7.0
    assert idling == np.hypot(7.0, 5.0)  # a hazard to a boat on plane is none at idle
    assert least_clearances(way, running=True, water=water, hazards=None, zones=None)[0] == 20.0


def test_no_ways_and_no_water():
    water, none = frame([shapely.box(0, 0, 100, 100)]), np.empty(0, dtype=object)
    assert len(least_clearances(none, running=True, water=water, hazards=None, zones=None)) == 0
    way = np.array([shapely.LineString([(20, 20), (20, 55)])])
    assert least_clearances(way, running=True, water=frame([]), hazards=None, zones=None)[0] == 0.0
