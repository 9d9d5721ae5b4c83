"""Every kind of cheat is refused by the proof, sound runs pass, and a launch goes round what lies in its way."""

import math

import geopandas as gpd
import numpy as np
import pytest
import shapely

import cheats
from castshed.algorithms.prove_run import prove_run
from castshed.algorithms.shallow_hazards import shallow_hazards
from castshed.algorithms.shortest_run import shortest_run
from castshed.algorithms.water_today import water_today
from castshed.toolbox.enclosed import enclosed_either_way, water_beyond_doubt
from castshed.toolbox.errors import NoSafeWay
from castshed.toolbox.water.proof.keep_out import enclosed, walls_in
from long_tests import first_of
from made_lake import frame, make_lake

SEEDS = (100_003, 100_004, 100_007)


@pytest.fixture(scope="module")
def sound():
    made = [given for seed in SEEDS if (given := cheats.sound_case(seed)) is not None]
    assert len(made) >= 2
    return made


def test_sound_runs_on_made_lakes_pass(sound):
    assert [cheats.refused(given) for given in sound] == [""] * len(sound)


@pytest.mark.parametrize("name", cheats.CHEATS)
def test_a_cheat_is_refused(sound, name):
    bent = [made for given in sound if (made := cheats.CHEATS[name](dict(given))) is not None]
    assert bent, "there is nothing to bend in this way"
    assert all(cheats.refused(made) for made in first_of(bent))


def test_there_are_thirty_kinds_and_more():
    assert len(cheats.CHEATS) >= 30


def rocky(x, y, top=0.1, radius=6.0):
    """The ramp of the small lake lies at 500, 45; the hold out in the lake; one rock where told."""
    lake = make_lake()
    lake.ramps = frame([shapely.Point(500_500, 4_000_000)], ramp_id=["r1"], name=["Ramp"], min_level_m=[-3.0])
    rock = frame(
        [shapely.Point(500_000 + x, 4_000_000 + y)], kind=["rock"], top_depth_m=[top], radius_m=[radius]
    )
    lake.water = water_today(lake.depth, lake.shoreline).water
    lake.hazards = shallow_hazards(lake.depth, lake.water, known_hazards=rock, hazard_error_m=3.0)
    return lake


def holds_at(*points):
    n = len(points)
    return gpd.GeoDataFrame(
        {
            "spot_id": [f"s{k}" for k in range(n)], "hold_no": [1] * n, "status": ["ok"] * n, "reason": ["made"] * n,
            "depth_today_m": [math.nan] * n, "cast_m": [20.0] * n, "cast_bearing_deg": [0.0] * n,
            "deep_bearing_deg": [0.0] * n, "wind_angle_deg": [90.0] * n,
        },
        geometry=[shapely.Point(500_000 + x, 4_000_000 + y) for x, y in points], crs=32615,
    )  # fmt: skip


def run_on(lake, holds=None, **more):
    holds = holds_at((500, 400)) if holds is None else holds
    made = shortest_run(holds, lake.ramps, lake.water, hazards=lake.hazards, depth=lake.depth, **more)
    return made, holds


def test_a_launch_goes_round_a_rock_and_is_no_longer_than_it_has_to_be():
    free, _ = run_on(rocky(900, 900))
    straight = free.legs[free.legs["part"] == "launch"]["distance_m"].iloc[0]
    lake = rocky(500, 14, radius=4.0)
    run, holds = run_on(lake)
    launch = run.legs[run.legs["part"] == "launch"].iloc[0]
    disc = shapely.Point(500_500, 4_000_014).buffer(7.0)  # its radius and the position error
    assert shapely.distance(launch.geometry, disc.centroid) >= 7.0
    # Around the disc to the water 4.2192 m off it: less than there along the square about it.
    assert straight < launch.distance_m < straight + 2 * 7.0 + 5.0
    # What it passes nearest to is told, and truly.
    rock = lake.hazards[(lake.hazards["cause"] == "charted") & (lake.hazards["care"] == "idle")].geometry
    assert launch.min_clearance_m == pytest.approx(float(rock.distance(launch.geometry).min()), abs=1e-9)
    assert "rock" in launch.nearest_hazard
    proof = prove_run(
        run.stops, run.legs, holds, lake.water, hazards=lake.hazards, depth=lake.depth, ramps=lake.ramps
    )
    assert len(proof) == len(run.legs)


def test_a_ramp_without_a_launch_cannot_be_used_and_the_reason_says_so():
    lake = rocky(500, 14, radius=60.0)  # the ramp lies in it
    with pytest.raises(NoSafeWay, match=r"can't be used today|begins"):
        run_on(lake)


def test_a_launch_through_a_rock_is_refused_by_the_proof():
    lake = rocky(900, 900)
    run, holds = run_on(lake)
    there = rocky(500, 12, radius=1.0)
    with pytest.raises(NoSafeWay, match=r"launch.*enters idle hazard"):
        prove_run(run.stops, run.legs, holds, lake.water, hazards=there.hazards, depth=lake.depth)


def test_a_hold_exactly_at_the_ramp_passes_though_no_leg_leads_there():
    lake = rocky(900, 900)
    lake.ramps = lake.ramps.set_geometry([shapely.Point(500_500, 4_000_200)], crs=lake.ramps.crs)
    for places in ([(500, 200), (500, 400)], [(500, 200)]):
        run, holds = run_on(lake, holds_at(*places))
        proof = prove_run(
            run.stops, run.legs, holds, lake.water, hazards=lake.hazards, depth=lake.depth, ramps=lake.ramps
        )
        assert len(proof) == len(run.legs)


# --- sick shapes ------------------------------------------------------------------------------------------------------

SQUARE = [(0, 0), (10, 0), (10, 10), (0, 10)]


def test_what_a_ring_encloses_either_way_counts():
    (twice,) = enclosed(shapely.Polygon([*SQUARE, *SQUARE]))
    assert twice.area == pytest.approx(100.0)  # even-odd would leave nothing
    (crossed,) = enclosed(shapely.Polygon([(0, 0), (10, 10), (10, 0), (0, 10)]))
    assert crossed.area == pytest.approx(50.0)
    # A hole that crosses the outline: nobody can tell what it is a hole of.
    (holed,) = enclosed(shapely.Polygon(SQUARE, [[(5, 5), (15, 5), (15, 8), (5, 8)]]))
    assert holed.area == pytest.approx(100.0 + 15.0)


def test_a_spike_there_and_back_is_a_wall():
    spiked = shapely.Polygon([(0, 0), (10, 0), (10, 5), (260, 5), (10, 5), (10, 10), (0, 10)])
    area, spike = enclosed(spiked)
    assert area.area == pytest.approx(100.0)
    assert spike.length == pytest.approx(250.0)
    assert shapely.distance(enclosed_either_way(spiked), shapely.Point(200, 5)) == 0.0
    lake = shapely.Polygon([(0, 0), (100, 0), (100, 100), (50, 100), (50, 20), (50, 100), (0, 100)])
    (wall,) = walls_in(frame([lake]))
    assert wall.length == pytest.approx(80.0)
    assert not water_beyond_doubt(lake).contains(shapely.Point(50, 60))
    assert np.isclose(water_beyond_doubt(lake).area, 10_000.0 - 80.0 * 0.02, atol=0.1)
