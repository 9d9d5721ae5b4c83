"""A depth confidence goes from step to step: holds and legs keep it, and a run over what is too unsure is refused."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from castshed.algorithms.boat_hold import boat_hold
from castshed.algorithms.export import export
from castshed.algorithms.hold_lines import hold_lines
from castshed.algorithms.prove_run import prove_run
from castshed.algorithms.safe_ways import safe_ways
from castshed.algorithms.shallow_hazards import shallow_hazards
from castshed.algorithms.shortest_run import shortest_run
from castshed.toolbox.depth import LOCAL_ERROR
from castshed.toolbox.errors import NoSafeWay

LEVEL_M = -0.3048


def local(lake, error_m):
    made = np.broadcast_to(np.asarray(error_m, dtype="f4"), lake.depth.shape)
    return replace(lake.depth.with_depth(made), quantity=LOCAL_ERROR)


def unsure_in_the_east(lake):
    """0.05 m, but 0.8 m in the eastern half."""
    made = np.full(lake.depth.shape, 0.05)
    made[:, lake.depth.shape[1] // 2 :] = 0.8
    return local(lake, made)


@pytest.fixture
def run(chain_made):
    lake = chain_made
    lake.unsure = unsure_in_the_east(lake)
    told = {"level_m": LEVEL_M, "depth_confidence": lake.unsure}
    lake.hazards = shallow_hazards(lake.depth, lake.water, known_hazards=lake.known_hazards, **told)
    lake.holds = boat_hold(lake.spots, lake.depth, drift_m=6.0, hazards=lake.hazards, **told).holds
    lake.around = {"hazards": lake.hazards, "zones": lake.zones, "depth": lake.depth, **told}
    lake.run = shortest_run(lake.holds, lake.ramps, lake.water, **lake.around)
    return lake


def test_holds_stops_and_legs_keep_how_far_their_depth_may_be_off(run):
    ok = run.holds[run.holds["status"] == "ok"]
    middle = run.depth.bounds[0] + run.depth.shape[1] // 2 * run.depth.cell_x_m
    east, far = ok.geometry.x > middle + 10.0, abs(ok.geometry.x - middle) > 10.0
    assert ok["depth_error_m"][far & east].to_numpy() == pytest.approx(0.8, abs=1e-6)
    assert ok["depth_error_m"][far & ~east].to_numpy() == pytest.approx(0.05, abs=1e-6)
    stops = run.run.stops
    there = stops[stops["reason"] == "hold"]
    assert (
        there["depth_error_m"].to_list()
        == ok.set_index("spot_id")["depth_error_m"][there["spot_id"]].to_list()
    )
    legs = run.run.legs
    xy = [shapely.get_coordinates(line.segmentize(1.0)) for line in legs.geometry]
    for row, at in zip(legs.itertuples(), xy, strict=True):
        sure = (run.depth.at(*at.T) - run.unsure.at(*at.T)).min() + LEVEL_M
        assert row.min_depth_m - row.min_depth_error_m == pytest.approx(sure, abs=0.05)
    # who is handed the layers need not be told again
    assert "either way" in export({"legs": legs}, formats=["kml"])["plan.kml"].decode()


def test_a_run_is_proved_with_its_confidence_and_refused_where_it_is_less_sure_than_was_thought(run):
    given = (run.run.stops, run.run.legs, run.holds, run.water)
    proof = prove_run(*given, spots=run.spots, ramps=run.ramps, **run.around)
    assert (proof["sure_depth_m"] <= proof["least_depth_m"]).all()
    # so much that the deepest water there is, 10 m, is too little
    worse = {**run.around, "depth_confidence": local(run, 12.0)}
    with pytest.raises(NoSafeWay, match="for certain"):
        prove_run(*given, spots=run.spots, ramps=run.ramps, **worse)


def test_lines_and_launches_keep_to_depth_less_error(run):
    plain = hold_lines(run.spots, run.depth, level_m=LEVEL_M).hold_lines
    sure = hold_lines(run.spots, run.depth, level_m=LEVEL_M, depth_confidence=local(run, 0.3)).hold_lines
    assert len(plain)
    assert "least_depth_error_m" not in plain
    assert sure["least_depth_error_m"].to_numpy() == pytest.approx(0.3, abs=1e-6)
    # no water is deep enough for certain
    assert hold_lines(
        run.spots, run.depth, level_m=LEVEL_M, depth_confidence=local(run, 15.0)
    ).hold_lines.empty
    assert len(safe_ways(run.holds, run.ramps, run.water, **run.around).ways)
