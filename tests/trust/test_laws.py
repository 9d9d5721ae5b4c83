"""Laws that hold on any lake: less water, more draft, more wind; the lake moved, turned, its rows in another order; units.

Few lakes here; `CASTSHED_LAWS=long` tries many, and `--hypothesis-seed` other ones.
"""

from __future__ import annotations

import math
import os
import re
import tempfile
import warnings
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st

import laws
from castshed.algorithms.fishable import fishable
from castshed.algorithms.plan import plan
from castshed.algorithms.safe_ways import safe_ways
from castshed.algorithms.water_today import water_today
from castshed.algorithms.wind_exposure import wind_exposure
from castshed.toolbox.errors import CastshedError
from castshed.toolbox.layers import write_layers
from castshed.toolbox.plan.day_file import read_day
from castshed.toolbox.units import ACCEPTED, parse
from castshed.toolbox.water.level.isobaths import shallower_than
from hold_recheck import convergence_deg
from long_tests import as_many
from verifier import BEAM_M, POSITION_M

LONG = os.environ.get("CASTSHED_LAWS") == "long"
QUIET = [HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large]


def tried(short, long):
    """So many examples; the short ones are the same ones every time. A seed has no simpler one to shrink to."""
    return settings(
        max_examples=long if LONG else as_many(short),
        deadline=None,
        derandomize=not LONG,
        database=None,
        suppress_health_check=QUIET,
        phases=(Phase.generate,),
    )


SEEDS = st.integers(1, 10**6)
DRAWN_M = 2.0  # how far an isobath may stray to the safe side (`shallower_than`)
KEPT = 1.35  # how much more than asked narrowing may keep, as a share (`shrink`: a tenth and twice a tenth, and rounding)


def lake_of(seed):
    case = laws.swelling_lake(seed)
    assume(case is not None)
    return case


def harder(case, keep_m):
    """Clearance over half the beam and the position error that outweighs all that drawing and narrowing may spare."""
    return KEPT * (keep_m + BEAM_M / 2 + POSITION_M) + DRAWN_M - BEAM_M / 2 - POSITION_M


def opens_none(case, base, worse):
    """Ways on worse water are ways on better water too, and those run from end to end are no shorter there.

    Lines are drawn and water is narrowed with a little to spare, not by the same amount at each place: so the law is
    exact between a clearance and another that outweighs what may be spared. Times may be less where the longer way
    keeps out of a slow zone; distances may not. From a ramp the way begins where the boat floats, which lies elsewhere.
    """
    there, here = laws.rows(base.ways), laws.rows(worse.ways)
    assert set(here) <= set(there)
    for ends, way in here.items():
        if way.idle_m == 0.0 and "r" not in ends:
            assert there[ends].idle_m == 0.0
            assert there[ends].distance_m <= way.distance_m * (1 + 1e-9) + 1e-6
    return len(here)


@tried(12, 120)
@given(seed=SEEDS, less_m=st.floats(0.02, 1.5))
def test_less_water_never_opens_a_way_and_never_shortens_one(seed, less_m):
    case = lake_of(seed)
    base = laws.chain(case)
    worse = laws.chain(
        case, level_m=case.level_m - less_m, holds=base.holds,
        clearance_m=harder(case, case.clearance_m), idle_clearance_m=harder(case, 0.0),
    )  # fmt: skip
    opens_none(case, base, worse)


@tried(12, 120)
@given(seed=SEEDS, more_m=st.floats(0.02, 1.5))
def test_more_draft_never_opens_a_way_and_never_shortens_one(seed, more_m):
    case = lake_of(seed)
    base = laws.chain(case)
    worse = laws.chain(
        case, draft_m=case.draft_m + more_m, running_m=case.running_m + more_m, holds=base.holds,
        clearance_m=harder(case, case.clearance_m), idle_clearance_m=harder(case, 0.0),
    )  # fmt: skip
    opens_none(case, base, worse)


def test_the_law_of_less_water_can_fail():
    """More water taken for less: ways are opened, and the law says so."""
    found = 0
    for seed in range(1, 60):
        case = laws.swelling_lake(seed)
        if case is None:
            continue
        base = laws.chain(case, level_m=case.level_m - 3.0)
        better = laws.chain(case, holds=base.holds)
        try:
            opens_none(case, base, better)
        except AssertionError:
            found += 1
        if found > 2:
            break
    assert found > 2


@tried(30, 300)
@given(seed=SEEDS, limit_m=st.floats(-2.0, 5.0), more_m=st.floats(0.0, 2.0))
def test_what_is_shallower_than_a_limit_is_shallower_than_a_greater_one(seed, limit_m, more_m):
    case = lake_of(seed)
    less, more = (shallower_than(case.depth, limit) for limit in (limit_m, limit_m + more_m))
    astray = shapely.difference(less, more)
    if not astray.is_empty:  # what is drawn to the safe side lies along the edge
        corners = shapely.points(shapely.get_coordinates(astray))
        assert shapely.distance(corners, shapely.boundary(less)).max() <= DRAWN_M


@tried(12, 150)
@given(
    seed=SEEDS,
    bearing=st.floats(0.0, 359.9),
    wind=st.just(0.0) | st.floats(0.001, 25.0),  # what is nearly no wind is none, and must be given as that
    more=st.floats(0.0, 15.0),
    limit=st.floats(0.02, 0.8),
)
def test_more_wind_never_makes_a_spot_fishable_by_the_wave_rule(seed, bearing, wind, more, limit):
    case = lake_of(seed)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        water = water_today(case.depth, case.shoreline, level_m=case.level_m).water
        verdict, wave = [], []
        for speed in (wind, wind + more if wind + more >= 0.001 else 0.0):
            told = wind_exposure(
                case.spots,
                water,
                wind_from_deg=bearing,
                wind_speed_mps=speed,
                depth=case.depth,
                level_m=case.level_m,
            ).places
            wave.append(told["wave_m"].to_numpy(dtype=float))
            judged = fishable(
                told, water, depth=case.depth, level_m=case.level_m, wave_limit_m=limit, wind_limit_mps=100.0
            ).judged  # fmt: skip
            verdict.append(
                judged.set_index("spot_id")["fishable"].loc[case.spots["spot_id"]].to_numpy(dtype=int)
            )
    known = np.isfinite(wave[0]) & np.isfinite(wave[1])
    assert (wave[1][known] >= wave[0][known] - 1e-12).all()
    assert (verdict[1] <= verdict[0]).all()


def same_but_for_place(case, other, put, *, spare=1e-7, told=str):
    """The chain on a lake and on the same lake elsewhere: ways, holds, hazards and verdicts."""
    here, there = laws.chain(case), laws.chain(other)
    one, two = laws.rows(here.ways), laws.rows(there.ways)
    assert set(one) == set(two)
    for ends, way in one.items():
        assert two[ends].distance_m == pytest.approx(way.distance_m, rel=spare, abs=1e-5)
        assert two[ends].idle_m == pytest.approx(way.idle_m, rel=spare, abs=1e-5)
    a, b = (h.sort_values(["spot_id", "hold_no"]).reset_index(drop=True) for h in (here.holds, there.holds))
    assert a["status"].tolist() == b["status"].tolist()
    assert [told(text) for text in a["reason"]] == [told(text) for text in b["reason"]]
    assert max(put(g).distance(h) for g, h in zip(a.geometry, b.geometry, strict=True)) < 1e-3
    for care in ("run", "idle"):
        drawn = [shapely.union_all(k.hazards.geometry[k.hazards["care"] == care]) for k in (here, there)]
        assert shapely.symmetric_difference(put(drawn[0]), drawn[1]).area < 1e-3 + 1e-7 * drawn[0].area
    verdicts = []
    for lake, made in ((case, here), (other, there)):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            judged = fishable(
                lake.spots,
                made.water,
                depth=lake.depth,
                level_m=lake.level_m,
                holds=made.holds,
                zones=lake.zones,
            )
        verdicts.append(
            judged.judged.sort_values("spot_id")[["spot_id", "fishable", "reason", "marginal"]]
            .to_numpy()
            .tolist()
        )
    assert verdicts[0] == verdicts[1]


@pytest.mark.long
@tried(8, 80)
@given(seed=SEEDS, east=st.integers(-8, 8), north=st.integers(-400, 100))
def test_a_lake_elsewhere_has_the_same_plan(seed, east, north):
    """Moved within a zone; ways agree to a hundredth, and exactly where nothing is kept clear (the test after next).

    Shores are simplified by up to a tenth of the clearance, and a corner rounded otherwise may spare another one. True
    north lies elsewhere there: degrees told in words are not compared.
    """
    case = lake_of(seed)
    moved = laws.moved(case, 4096.0 * east + 16.0, 8192.0 * north)
    same_but_for_place(case, *moved, spare=0.01, told=lambda text: re.sub(r"\d+ deg", "bearing", text))


@pytest.mark.long
@tried(8, 80)
@given(seed=SEEDS, order=st.integers(0, 10**6))
def test_rows_in_another_order_are_the_same_plan(seed, order):
    case = lake_of(seed)
    same_but_for_place(case, *laws.shuffled(case, order))


@pytest.mark.long
@tried(8, 80)
@given(seed=SEEDS)
def test_a_lake_turned_by_a_quarter_has_its_holds_and_hazards_turned(seed):
    """Where there is a deep side the hold turns with the lake; where there is none the compass decides.

    Hazards are drawn with up to 2 m to spare, not by the same amount when another corner comes first.
    """
    case = lake_of(seed)
    other, put = laws.turned(case)
    here, there = laws.chain(case), laws.chain(other)
    a, b = (k.holds.set_index("spot_id").loc[case.spots["spot_id"]] for k in (here, there))
    assert a["status"].tolist() == b["status"].tolist()
    ok = a["deep_bearing_deg"].notna().to_numpy()
    for one, two in zip(a.geometry[ok], b.geometry[ok], strict=True):
        assert put(one).distance(two) < 1e-3
    on_grid = [
        k["cast_bearing_deg"] - convergence_deg(k.crs, k.geometry.x.to_numpy(), k.geometry.y.to_numpy())
        for k in (a[ok], b[ok])
    ]
    aside = (on_grid[0] - 90.0 - on_grid[1]) % 360.0
    assert (np.minimum(aside, 360.0 - aside) < 1e-3).all()
    drawn = put(shapely.union_all(here.hazards.geometry)), shapely.union_all(there.hazards.geometry)
    for one, two in (drawn, drawn[::-1]):
        astray = shapely.difference(one, two)
        if not astray.is_empty:
            corners = shapely.points(shapely.get_coordinates(astray))
            assert shapely.distance(corners, shapely.boundary(one)).max() <= DRAWN_M + 1e-6


@pytest.mark.long
@tried(8, 80)
@given(seed=SEEDS, turn=st.floats(-180.0, 180.0))
def test_ways_turned_and_moved_are_as_long(seed, turn):
    """Without a clearance no shore is simplified, and lengths are those of the lines of sight."""
    case = lake_of(seed)
    made = laws.chain(case)
    assume(made.ways is not None)
    found = []
    for angle in (0.0, turn):
        frames = [
            f.set_geometry(
                f.geometry.rotate(angle, origin=(5e5, 4e6)).translate(100.0 * angle, 7.0), crs=f.crs
            )
            if angle
            else f
            for f in (made.holds, case.ramps, made.water, made.hazards, case.zones)
        ]
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            found.append(
                laws.rows(
                    safe_ways(
                        *frames[:3],
                        hazards=frames[3],
                        zones=frames[4],
                        level_m=case.level_m,
                        beam_m=0.0,
                        fix_error_m=0.0,
                        clearance_m=0.0,
                    ).ways
                )
            )
    assert set(found[0]) == set(found[1])
    for ends, way in found[0].items():
        assert found[1][ends].distance_m == pytest.approx(way.distance_m, rel=1e-6, abs=1e-3)


DAY = """
title = "Made"
date = 2026-05-16
zone = "America/Chicago"
units = "{units}"
[lake]
file = "lake.gpkg"
[level]
today = "{level}"
error = "{error}"
[boat]
draft = "{draft}"
running_depth = "{running}"
margin = "{margin}"
beam = "{beam}"
clearance = "{clearance}"
run_speed = "{speed}"
wave_limit = "{wave}"
[angler]
least_cast = "{least}"
cast = "{cast}"
most_cast = "{most}"
[wind]
from = "SW"
speed = "{wind}"
[fishing]
least_depth = "{margin}"
[spots]
sources = ["lake.gpkg:spots"]
[run]
start = "Ramp"
at_each = "25min"
depart = "06:00"
"""
# In feet, and miles an hour, as anglers write them; the same in metres by the foot of 1959, to the last digit.
ASKED = {"level": 1, "error": 0.1, "draft": 1, "running": 2.5, "margin": 1, "beam": 8, "clearance": 12, "wave": 1.5, "least": 40,
         "cast": 70, "most": 90}  # fmt: skip
SPEEDS = {"speed": 30, "wind": 9}


def written(system, feet):
    if system == "US":
        texts = {k: f"{v}ft" for k, v in feet.items()} | {k: f"{v}mph" for k, v in SPEEDS.items()}
    else:
        texts = {k: f"{Decimal(str(v)) * Decimal('0.3048')}m" for k, v in feet.items()}
        texts |= {k: f"{Decimal(str(v)) * Decimal('0.44704')}m/s" for k, v in SPEEDS.items()}
    return DAY.format(units="US" if system == "US" else "metric", **texts)


@pytest.mark.long
@tried(2, 12)
@given(seed=SEEDS, level_ft=st.integers(-3, 1), draft_in=st.integers(8, 24))
def test_a_day_in_metres_and_in_feet_is_the_same_plan(seed, level_ft, draft_in):
    case = lake_of(seed)
    feet = ASKED | {"level": level_ft, "draft": draft_in / 12 if draft_in % 3 == 0 else 1}
    plans = []
    with tempfile.TemporaryDirectory() as folder:
        layers = {
            k: getattr(case, k) for k in ("shoreline", "depth", "ramps", "zones", "known_hazards", "spots")
        }
        write_layers(
            Path(folder) / "lake.gpkg", {k: v for k, v in layers.items() if len(getattr(v, "index", "x"))}
        )
        for system in ("US", "metric"):
            day = Path(folder) / f"{system}.toml"
            day.write_text(written(system, feet), encoding="utf-8")
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                try:
                    plans.append(plan(read_day(day)).layers["plan.gpkg"])
                except CastshedError as error:
                    plans.append(error.exit_code)
    us, metric = plans
    if isinstance(us, int):
        assert us == metric
        assume(False)
    assert us["stops"]["spot_id"].tolist() == metric["stops"]["spot_id"].tolist()
    assert us["spots"]["fishable"].tolist() == metric["spots"]["fishable"].tolist()
    for columns in (["part", "from_id", "to_id"],):
        assert us["legs"][columns].to_numpy().tolist() == metric["legs"][columns].to_numpy().tolist()
    for column in ("distance_m", "min_depth_m", "time_s"):
        np.testing.assert_allclose(us["legs"][column], metric["legs"][column], rtol=1e-9, atol=1e-6)
    for one, two in zip(us["legs"].geometry, metric["legs"].geometry, strict=True):
        assert shapely.equals_exact(one, two, 1e-5)


@settings(max_examples=as_many(300), deadline=None)
@given(tenths=st.integers(-(10**7), 10**7), unit=st.sampled_from(["ft", "in", "mi", "fathom", "m", "km"]))
def test_what_is_written_in_feet_is_exactly_that_many_feet(tenths, unit):
    """By definition 1 ft = 0.3048 m, 12 in = 1 ft, 5280 ft = 1 mi (yard and pound agreement of 1959), 6 ft = 1 fathom."""
    assert unit in ACCEPTED["length"]
    exact = {"ft": "0.3048", "in": "0.0254", "mi": "1609.344", "fathom": "1.8288", "m": "1", "km": "1000"}[
        unit
    ]
    number = Decimal(tenths) / 10
    metres = parse(f"{number}{unit}", "length")
    assert math.isclose(metres, float(number * Decimal(exact)), rel_tol=1e-15, abs_tol=0.0)
    assert Decimal(f"{metres / float(exact):.13g}") == number


@tried(5, 40)
@given(seed=SEEDS, feet=st.integers(-8, 4))
def test_depths_come_back_after_the_level_has_gone_and_returned(seed, feet):
    case = lake_of(seed)
    level_m = parse(f"{feet}ft", "length")
    back = case.depth.shifted(level_m).shifted(-level_m)
    np.testing.assert_allclose(back.depth_m, case.depth.depth_m, atol=2e-6)
    assert replace(back, depth_m=case.depth.depth_m).bounds == case.depth.bounds
