"""The last check counts on a depth less what it may be off at its place: by construction, broken by a hand's breadth."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from castshed.toolbox.water.proof.keep_out import OffLimits
from castshed.toolbox.water.proof.last_check import Limits
from castshed.toolbox.water.proof.launch_check import DepthDoubt, counted_everywhere_m, past_its_end
from castshed.toolbox.water.proof.run_proof import thin_beside
from made_lake import CRS, frame
from straight_run import B, check, flat, leg, legs, there_and_back

BOAT = {
    "draft_m": 0.3, "running_depth_m": 0.6, "margin_m": 0.3, "beam_m": 2.0, "fix_error_m": 3.0, "clearance_m": 5.0,
    "launch_m": 60.0,
}  # fmt: skip
HAND_M = 0.1
CELLS = (20, 30)
EVERYWHERE_M, LEVEL_M = 0.3, 0.4
LIMITS = Limits.of_boat(**BOAT, depth_error_m=EVERYWHERE_M, level_error_m=LEVEL_M)
DOUBTED_M = 1.2
# Pythagoras: independent errors put together; 0.3 and 0.4 make 0.5
MORE_M = float(np.hypot(DOUBTED_M, LEVEL_M)) - 0.5


def bottom(depth_m):
    return flat(np.full(CELLS, depth_m))


def unsure(at_column, error_m=DOUBTED_M):
    """Half-widths of 0.1 m but for two columns of cells."""
    made = np.full(CELLS, 0.1)
    made[:, at_column : at_column + 2] = error_m
    return flat(made)


def test_a_leg_is_refused_where_depth_less_error_is_a_hand_too_thin():
    enough = LIMITS.run_depth_m + MORE_M
    local = unsure(14)  # across the way, halfway
    assert check(depth=bottom(enough + HAND_M), depth_confidence=local, limits=LIMITS) == []
    broken = check(depth=bottom(enough - HAND_M), depth_confidence=local, limits=LIMITS)
    assert {one.what for one in broken} == {"leg 1 (run, r to a)", "leg 2 (run, a to r)"}
    assert all("for certain" in one.rule and "needed" in one.rule for one in broken)
    assert broken[0].by_m == pytest.approx(HAND_M, abs=1e-4)
    assert 40.0 <= broken[0].x <= 60.0  # where it is unsure, and nowhere else
    # without the layer nobody knows of it, and where the error is no more than is counted anyway nothing is taken off
    assert check(depth=bottom(enough - HAND_M), limits=LIMITS) == []
    assert check(depth=bottom(enough - HAND_M), depth_confidence=unsure(14, 0.3), limits=LIMITS) == []


def test_a_hold_is_refused_where_depth_less_error_is_a_hand_too_thin():
    enough = LIMITS.hold_depth_m + MORE_M
    local = unsure(19)
    given = {"run": there_and_back("idle"), "depth_confidence": local, "limits": LIMITS}
    assert check(depth=bottom(enough + HAND_M), **given) == []
    broken = check(depth=bottom(enough - HAND_M), **given)
    assert "the hold of a" in {one.what for one in broken}


def test_what_is_stated_is_the_depth_itself_and_not_what_is_left_of_it():
    deep = LIMITS.run_depth_m + MORE_M + HAND_M
    run = there_and_back(min_depth_m=deep - 1e-3)
    assert check(run, depth=bottom(deep), depth_confidence=unsure(14), limits=LIMITS) == []
    wrong = there_and_back(min_depth_m=deep + HAND_M)
    assert all(
        "stated" in one.rule
        for one in check(wrong, depth=bottom(deep), depth_confidence=unsure(14), limits=LIMITS)
    )


def test_thin_water_beside_the_way_is_told_with_its_error():
    enough = LIMITS.run_depth_m + MORE_M
    lines = np.array([shapely.LineString([(0, 0), (100, 0)])])
    local = np.full(CELLS, 0.1)
    local[9, 15] = DOUBTED_M  # centre at 55, 5
    for over_m, told in ((HAND_M, 0), (-HAND_M, 1)):
        doubt = DepthDoubt.of(bottom(enough + over_m), flat(local), LIMITS)
        found = list(
            thin_beside(
                lines,
                ["leg"],
                bottom(enough + over_m),
                0.0,
                keep_m=9.0,
                least_m=LIMITS.run_depth_m,
                doubt=doubt,
            )
        )
        assert len(found) == told


def test_a_launch_is_held_to_depth_less_error():
    enough = LIMITS.floats_m + MORE_M
    ramp = (-60.0, 0.0)
    run = legs(
        leg(1, "launch", "r", "a", ramp, (-10.0, 0.0)),
        leg(1, "idle", "r", "a", (-10.0, 0.0), B),
        leg(2, "idle", "a", "r", B, (-10.0, 0.0)),
        leg(2, "launch", "a", "r", (-10.0, 0.0), ramp),
    )
    local = unsure(6)  # from -40 to -20
    given = {"run": run, "start": shapely.Point(ramp), "end": shapely.Point(ramp), "limits": LIMITS}
    deep = np.full(CELLS, 9.0)
    deep[:, :9] = enough + HAND_M
    assert check(depth=flat(deep), depth_confidence=local, **given) == []
    deep[:, :9] = enough - HAND_M
    broken = check(depth=flat(deep), depth_confidence=local, **given)
    assert {one.what for one in broken} == {"leg 1 (launch, r to a)", "leg 2 (launch, a to r)"}
    # nor has usable water begun where it is unsure
    line, off = (
        shapely.LineString([ramp, (0, 0)]),
        OffLimits(frame([shapely.box(-100, -100, 200, 100)]), None, None, None),
    )
    told = {"keep_m": LIMITS.idle_clearance_m, "usable_m": LIMITS.idle_depth_m}
    thin, everywhere = bottom(LIMITS.idle_depth_m + HAND_M), flat(np.full(CELLS, DOUBTED_M))
    assert list(past_its_end(line, "leg", off, thin, 0.0, **told))
    assert not list(
        past_its_end(line, "leg", off, thin, 0.0, **told, doubt=DepthDoubt.of(thin, everywhere, LIMITS))
    )


def test_the_error_of_limits_is_the_least_anywhere_and_the_rest_is_taken_off_at_its_place():
    surface = replace(bottom(5.0), error_m=0.6)
    assert counted_everywhere_m(None, None) == 0.0
    assert counted_everywhere_m(surface, None) == 0.6
    assert counted_everywhere_m(surface, flat(np.full(CELLS, np.nan))) == 0.6
    local = np.full(CELLS, 0.2)
    local[0, 0] = np.nan
    assert counted_everywhere_m(surface, flat(local)) == pytest.approx(0.2)
    assert counted_everywhere_m(surface, flat(np.full(CELLS, 2.0))) == 0.6
    # where the local error is not known the coverage's own stands for it
    limits = Limits.of_boat(**BOAT, depth_error_m=0.2, level_error_m=0.0)
    doubt = DepthDoubt.of(surface, flat(local), limits)
    assert doubt.more_m(np.array([-95.0, 55.0]), np.array([95.0, 5.0])) == pytest.approx([0.4, 0.0], abs=1e-6)
    assert surface.crs == CRS
