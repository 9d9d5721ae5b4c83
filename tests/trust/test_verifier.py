"""Runs on lakes left to chance hold before an independent verifier, which catches a planner that cheats."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

import verifier
from castshed.toolbox.water.runs.run_frames import best_holds


@pytest.fixture(scope="module")
def sound():
    for seed in range(1, 30):
        case = verifier.made_case(seed)
        plan = None if case is None else verifier.planned(case)
        if plan is not None and len(plan[0].stops) > 4 and (plan[0].legs["part"] == "run").sum() > 3:
            return case, plan
    raise AssertionError("no lake with a run of several stops")


@pytest.mark.long
def test_runs_on_lakes_left_to_chance_hold_and_cheats_are_caught():
    found = verifier.proof(16, seed=7)
    assert found["lakes"] == 16
    assert found["faults"] == []
    assert found["mutants"] >= 5
    assert found["missed"] == []


def test_interpolation_of_the_verifier_agrees_with_a_plane():
    """A plane is its own bilinear interpolation: z = 2 + x/100 - y/50."""
    xs, ys = np.arange(10) * 7.0 + 3.5, 100.0 - (np.arange(8) * 5.0 + 2.5)
    values = 2 + xs[None, :] / 100 - ys[:, None] / 50
    rng = np.random.default_rng(1)
    x, y = rng.uniform(xs[0], xs[-1], 200), rng.uniform(ys[-1], ys[0], 200)
    assert verifier.depth_at(values, 0.0, 100.0, 7.0, 5.0, x, y) == pytest.approx(
        2 + x / 100 - y / 50, abs=1e-12
    )


def _altered(plan, **columns):
    run, holds, hazards = plan
    return run._replace(legs=run.legs.assign(**columns)), holds, hazards


@pytest.mark.parametrize(
    ("column", "by", "says"),
    [
        ("distance_m", lambda v: v * 1.001, "is stated"),
        ("min_depth_m", lambda v: v + 0.1, "least depth"),
        ("time_s", lambda v: v * 1.1 + 5.0, "is stated"),
    ],
)
def test_an_untrue_statement_is_caught(sound, column, by, says):
    case, plan = sound
    assert verifier.violations(case, plan) == []
    assert any(
        says in w for w in verifier.violations(case, _altered(plan, **{column: by(plan[0].legs[column])}))
    )


def test_a_straight_line_through_everything_is_caught(sound):
    case, plan = sound
    lines = [shapely.LineString([g.coords[0], g.coords[-1]]) for g in plan[0].legs.geometry]
    shifted = [shapely.affinity.translate(g, 60.0, 45.0) for g in lines]
    found = verifier.violations(case, _altered(plan, geometry=shifted))
    assert any("water" in w or "comes within" in w for w in found)
    assert any("does not lead" in w for w in found)


def test_a_hold_in_too_little_water_is_caught(sound):
    case, (run, holds, hazards) = sound
    moved = best_holds(holds).assign(geometry=[case.ramps.geometry.iloc[0]] * len(best_holds(holds)))
    assert any("the hold of" in w for w in verifier.violations(case, (run, moved, hazards)))


def test_ground_that_is_flooded_today_is_no_land():
    """Made lake 4300285 stands 0.11 m above chart datum, and its ramp lies in water beyond the charted edge."""
    case = verifier.made_case(4_300_285)
    assert case.level_m > 0
    plan = verifier.planned(case)
    assert verifier.violations(case, plan) == []
    case.level_m = -case.level_m  # the same run with the water below datum comes too near to land
    assert any("of land" in w for w in verifier.violations(case, plan))
