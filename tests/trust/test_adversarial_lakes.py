"""No run comes nearer to what is drawn than asked, however it is drawn and however far out; nor does its export.

Truth: `adversarial_lakes.nearest_m`, distances in 80-bit floats from the rings as drawn.
"""

import geopandas as gpd
import numpy as np
import pytest
import shapely

import adversarial_lakes
from castshed.algorithms.safe_ways import safe_ways
from castshed.algorithms.shortest_run import shortest_run
from castshed.toolbox.algorithm.contracts import check_inputs
from castshed.toolbox.enclosed import enclosed_either_way, water_beyond_doubt
from castshed.toolbox.errors import DataWarning, NoSafeWay
from castshed.toolbox.parameters import POLYGON, Layer
from castshed.toolbox.water.runs import afloat as afloat_module
from long_tests import as_many


def test_no_run_over_a_hostile_lake_is_nearer_than_asked_also_after_export():
    lakes = as_many(22)
    found = adversarial_lakes.run_lakes(lakes, 3)
    assert found["runs"] >= 12 * lakes // 22
    assert (found["nearer"], found["after_export"], found["other_faults"]) == (0, 0, 0)


def test_the_checker_knows_near_from_far():
    lake = adversarial_lakes.make_lake(0)
    lake.rings = [("water", np.array([(0, 0), (100, 0), (100, 100), (0, 100)])), ("idle", np.array([(40, 40), (60, 40), (60, 60), (40, 60)]))]  # fmt: skip
    assert adversarial_lakes.nearest_m(lake, [(25, 20), (75, 20)], "run") == 20.0
    assert adversarial_lakes.nearest_m(lake, [(10, 50), (90, 50)], "run") == 0.0  # through
    assert adversarial_lakes.nearest_m(lake, [(48, 50), (52, 50)], "run") == 0.0  # within
    assert adversarial_lakes.nearest_m(lake, [(110, 50), (120, 50)], "run") == 0.0  # ashore
    lake.rings[1] = ("idle", np.array([(40, 40), (60, 40), (60, 60), (40, 60)] * 2))
    assert adversarial_lakes.nearest_m(lake, [(48, 50), (52, 50)], "run") == 0.0  # wound twice is hazard too


@pytest.mark.parametrize("far", [0.0, 5e5, 9.9e7])
def test_what_a_ring_encloses_either_way_is_hazard(far):
    box = [(0, 0), (100, 0), (100, 100), (0, 100)]
    twice = shapely.Polygon(np.array(box * 2) + far)
    assert enclosed_either_way(twice).area == pytest.approx(1e4, rel=1e-6)
    # a pentagram: by the even-odd rule its middle were water; area of star and pentagon of radius 100, by the chord
    turn = np.pi / 2 + 4 * np.pi / 5 * np.arange(5)
    star = shapely.Polygon(100 * np.column_stack([np.cos(turn), np.sin(turn)]) + far)
    assert shapely.covers(enclosed_either_way(star), shapely.Point(far, far))
    bow = shapely.Polygon(np.array([(0, 0), (100, 100), (100, 0), (0, 100)]) + far)
    assert enclosed_either_way(bow).area == pytest.approx(5000.0, rel=1e-6)
    wall = shapely.Polygon(np.array([(0, 0), (0, 125), (0, 250), (0, 125)]) + far)
    made = enclosed_either_way(wall)
    assert shapely.is_valid(made)
    line = shapely.LineString(np.array([(0, 0), (0, 250)]) + far)
    assert shapely.distance(made, line) == 0.0
    assert shapely.hausdorff_distance(made, line) < 0.05


def test_a_spike_of_a_hazard_stays_a_wall_and_a_spike_of_an_island_is_no_water():
    spike = [(0, 0), (50, 0), (300, 0), (50, 0), (50, 50), (0, 50)]
    end = shapely.Point(299, 0)
    assert shapely.distance(enclosed_either_way(shapely.Polygon(spike)), end) < 1e-6
    sea = shapely.Polygon([(-500, -500), (500, -500), (500, 500), (-500, 500)], [spike])
    assert not shapely.intersects(water_beyond_doubt(sea), end)


def test_the_contract_of_what_is_kept_out_of_loses_nothing():
    wall = shapely.Polygon([(0, 0), (0, 125), (0, 250), (0, 125)])
    frame = gpd.GeoDataFrame(geometry=[wall], crs=32615)
    with pytest.warns(DataWarning, match="repaired"):
        made = check_inputs({"zones": (frame, Layer("zones", POLYGON, repair="keep out"))})["zones"]
    assert shapely.distance(made.geometry.iloc[0], shapely.Point(0, 250)) < 1e-6


def test_a_way_too_near_is_not_handed_over(monkeypatch):
    """The water made ready is far too wide; the check of the ways, apart from it, refuses them."""
    lake = adversarial_lakes.make_lake(9)
    hazard = shapely.box(300, 0, 700, 1000)
    lake.hazards = gpd.GeoDataFrame(
        {"hazard_id": ["h"], "care": ["idle"], "reason": ["shoal"], "least_depth_m": [0.1]},
        geometry=[hazard],
        crs=lake.water.crs,
    )
    lake.water = lake.water.set_geometry([shapely.box(0, 0, 1200, 1200)], crs=lake.water.crs)
    spots = shapely.points([(1120, 600), (1100, 200), (600, 1120)])
    lake.holds = lake.holds.set_geometry(spots, crs=lake.water.crs)
    lake.ramps = lake.ramps.set_geometry([shapely.Point(60, 600)], crs=lake.water.crs)
    options = {"beam_m": 2.0, "fix_error_m": 1.0, "clearance_m": 6.0}
    sound = shortest_run(lake.holds, lake.ramps, lake.water, hazards=lake.hazards, **options)
    assert len(sound.legs)
    wide = shapely.box(10, 10, 1190, 1190)
    monkeypatch.setattr(afloat_module, "kept_safe_waters", lambda *_, **__: (wide, wide))
    for work in (shortest_run, safe_ways):
        with pytest.raises(NoSafeWay, match="would come within"):
            work(lake.holds, lake.ramps, lake.water, hazards=lake.hazards, **options)
