"""fishable: verdicts worked by hand, reasons with their margins, and nothing dropped."""

import re

import geopandas as gpd
import numpy as np
import pytest
import shapely
from geopandas.testing import assert_geodataframe_equal
from hypothesis import given, settings
from hypothesis import strategies as st

from castshed.algorithms.fishable import fishable as both
from castshed.algorithms.wind_exposure import wind_exposure
from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import DataError, DataWarning, UsageError
from castshed.toolbox.testing import check_algorithm
from castshed.toolbox.water.verdicts.verdict import FishingLimits, judge, length_words, speed_words, stand
from long_tests import as_many

pytestmark = pytest.mark.filterwarnings("ignore:Neither spots nor holds:castshed.toolbox.errors.DataWarning")

FOOT = 0.3048
CRS = "EPSG:32615"
WEST, SOUTH = 500_000.0, 4_000_000.0
WATER = gpd.GeoDataFrame(
    {"water_id": ["w"]}, geometry=[shapely.box(WEST, SOUTH, WEST + 4000, SOUTH + 1000)], crs=CRS
)


def fishable(*inputs, **options):
    """The spots judged, without hours."""
    found = both(*inputs, **options)
    assert found.verdicts is None
    return found.judged


def at(x, y):
    return shapely.Point(WEST + x, SOUTH + y)


def spots_layer(rows, geometry=None):
    """Spots from dicts; feet in, metres out."""
    count = len(rows)
    return gpd.GeoDataFrame(
        {
            "spot_id": [r.get("id", f"s{i}") for i, r in enumerate(rows)],
            "kind": [r.get("kind", "hump") for r in rows],
            "depth_m": [r.get("depth_ft", np.nan) * FOOT for r in rows],
            "height_m": [r.get("height_ft", np.nan) * FOOT for r in rows],
            **{
                name: [r.get(name, np.nan) for r in rows]
                for name in ("wave_m", "wave_low_m", "wave_high_m", "wind_mps")
                if any(name in r for r in rows)
            },
        },
        geometry=geometry or [at(1000 + 10 * i, 500) for i in range(count)],
        crs=CRS,
    )


def holds_layer(rows):
    columns = ("depth_today_m", "cast_m", "cast_bearing_deg", "deep_bearing_deg", "wind_angle_deg")
    return gpd.GeoDataFrame(
        {
            "spot_id": [r["spot_id"] for r in rows],
            "hold_no": [r.get("hold_no", 1) for r in rows],
            "status": [r["status"] for r in rows],
            "reason": [r.get("reason", "on the deep side") for r in rows],
            **{c: [5.0] * len(rows) for c in columns},
            **{c: [r[c] for r in rows] for c in ("wave_m", "wind_mps") if rows and c in rows[0]},
        },
        geometry=[at(1000, 500)] * len(rows),
        crs=CRS,
    )


def one(row, **options):
    """Judge a single spot in mid-lake."""
    return fishable(spots_layer([row]), WATER, **options).iloc[0]


# Worked by hand -----------------------------------------------------------------------------------------------


def test_sunk_brush_in_a_drawdown_stands_bare():
    # Worked: bottom 14 ft at normal, stands 8 ft, drawdown 8.4 ft: bottom 5.6 ft, top bare by 2.4 ft.
    row = one({"kind": "brush", "depth_ft": 14.0, "height_ft": 8.0}, level_m=-8.4 * FOOT)
    assert row["depth_today_m"] == pytest.approx(5.6 * FOOT)
    assert row["top_today_m"] == pytest.approx(-2.4 * FOOT)
    assert row["fishable"] == 0
    assert row["reason"] == "top bare by 0.7 m (2.4 ft)"


def test_pool_84_tenths_of_a_foot_down_takes_them_off_every_depth():
    # Worked: normal 650.0 ft, today 641.6 ft: charted 12 ft is 3.6 ft, a 5 ft hump stands dry by 3.4 ft.
    level = (641.6 - 650.0) * FOOT
    found = fishable(spots_layer([{"depth_ft": 12.0}, {"depth_ft": 5.0}]), WATER, level_m=level)
    assert found["depth_today_m"].tolist() == pytest.approx([3.6 * FOOT, -3.4 * FOOT])
    assert found["fishable"].tolist() == [1, 0]
    assert found["reason"].iloc[1] == "dry by 1.0 m (3.4 ft)"


def test_lake_down_five_feet_takes_five_feet_off():
    # Common practice.
    assert one({"depth_ft": 20.0}, level_m=-5 * FOOT)["depth_today_m"] == pytest.approx(15 * FOOT)


def test_too_shallow_with_the_margin_in_both_units():
    # 1.7 ft of water where 3 ft are asked for: 1.3 ft too shallow.
    row = one({"depth_ft": 10.0}, level_m=-8.3 * FOOT, least_depth_m=3 * FOOT)
    assert row["reason"] == "0.4 m (1.3 ft) too shallow"
    assert row["margin_m"] == pytest.approx(-1.3 * FOOT)


def test_top_too_near_the_surface():
    # 10 ft of water, brush 9.5 ft high: half a foot over it where one foot is asked for.
    row = one({"kind": "conifer_brush", "depth_ft": 10.0, "height_ft": 9.5})
    assert row["reason"] == "top 0.2 m (0.5 ft) too near the surface"
    assert row["margin_m"] == pytest.approx(-0.5 * FOOT)


def test_too_deep():
    row = one({"depth_ft": 46.0}, level_m=-4 * FOOT, most_depth_m=40 * FOOT)
    assert row["reason"] == "0.6 m (2.0 ft) too deep"
    assert one({"depth_ft": 46.0}, level_m=-4 * FOOT)["fishable"] == 1


def test_what_stands_out_by_nature_may_be_bare():
    for kind in ("standing_timber", "dock", "vegetation", "bluff"):
        row = one({"kind": kind, "depth_ft": 10.0, "height_ft": 25.0})
        assert row["fishable"] == 1
        assert "top 4.6 m (15.0 ft) out of the water" in row["reason"]
        assert row["margin_m"] == pytest.approx(7 * FOOT)
    assert one({"kind": "stumps", "depth_ft": 10.0, "height_ft": 25.0})["fishable"] == 0


def test_exactly_at_every_limit_passes():
    row = one(
        {
            "kind": "brush",
            "depth_ft": 10.0,
            "height_ft": 5.0,
            "wave_m": 0.6,
            "wave_high_m": 0.6,
            "wind_mps": 9.0,
        },
        level_m=-3.1 * FOOT,
        least_depth_m=6.9 * FOOT,
        top_margin_m=1.9 * FOOT,
        most_depth_m=6.9 * FOOT,
        wave_limit_m=0.6,
        wind_limit_mps=9.0,
    )
    assert row["fishable"] == 1
    assert row["margin_m"] == pytest.approx(0.0, abs=1e-9)


# Place ------------------------------------------------------------------------------------------------------


def test_spot_off_the_water_says_how_far():
    found = fishable(
        spots_layer([{"depth_ft": 9.0}, {"depth_ft": 9.0}], [at(-30, 500), at(-0.0004, 500)]), WATER
    )
    assert found["reason"].iloc[0] == "not on today's water, 30.0 m (98.4 ft) from it"
    assert found["fishable"].tolist() == [0, 1]  # on the shore itself is on the water


def test_spot_on_land_in_the_coverage_is_dry_and_off_the_water():
    land = DepthSurface(np.full((20, 20), -2.0), WEST - 1000, SOUTH + 1000, 50.0, 50.0, CRS)
    found = fishable(spots_layer([{}], [at(-100, 500)]), WATER, depth=land, level_m=-0.5)
    assert found["reason"].iloc[0] == "not on today's water, 100 m (328 ft) from it; dry by 2.5 m (8.2 ft)"


def test_line_half_ashore_is_judged_where_it_is_wet():
    slope = DepthSurface(
        np.tile(np.linspace(-20.0, 20.0, 80), (40, 1)), WEST - 1000, SOUTH + 1500, 25.0, 50.0, CRS
    )
    line = shapely.LineString([(WEST - 900, SOUTH + 500), (WEST + 400, SOUTH + 500)])
    row = fishable(spots_layer([{"kind": "ledge"}], [line]), WATER, depth=slope).iloc[0]
    assert row["depth_today_m"] > 0
    assert row["fishable"] == 1


# Depth ------------------------------------------------------------------------------------------------------


def test_depth_comes_from_the_spot_then_from_the_coverage():
    coverage = DepthSurface(np.full((40, 100), 4.0), WEST - 500, SOUTH + 1500, 50.0, 50.0, CRS)
    spots = spots_layer([{"depth_ft": 14.0}, {}])
    found = fishable(spots, WATER, depth=coverage, level_m=-1.0)
    assert found["depth_today_m"].tolist() == pytest.approx([14 * FOOT - 1.0, 3.0])


def test_listed_depth_far_from_the_coverage_is_pointed_out():
    coverage = DepthSurface(np.full((40, 100), 8.0), WEST - 500, SOUTH + 1500, 50.0, 50.0, CRS)
    with pytest.warns(DataWarning, match=r"1 spot has a depth_m more than 1.5 m.*s1"):
        found = fishable(spots_layer([{"depth_ft": 25.0}, {"depth_ft": 10.0}]), WATER, depth=coverage)
    assert found["depth_today_m"].iloc[1] == pytest.approx(10 * FOOT)


def test_unknown_depth_is_a_reason_not_a_pass():
    row = one({"kind": "brush", "height_ft": 4.0})
    assert row["fishable"] == 0
    assert row["reason"] == "depth not known"
    assert np.isnan(row["margin_m"])


def test_cover_of_unknown_height_passes_and_says_so():
    row = one({"kind": "hardwood_brush", "depth_ft": 12.0})
    assert row["fishable"] == 1
    assert "height of the top not known" in row["reason"]
    assert np.isnan(row["top_today_m"])


def test_negative_height_is_taken_as_unknown_and_said():
    with pytest.warns(DataWarning, match=r"height_m is negative at 1 spot \(s0\)"):
        row = one({"kind": "brush", "depth_ft": 12.0, "height_ft": -3.0})
    assert row["fishable"] == 1
    assert np.isnan(row["top_today_m"])


# Wind, waves and hold -----------------------------------------------------------------------------------------


def test_upper_end_of_the_wave_band_counts():
    row = one({"depth_ft": 12.0, "wave_m": 0.5, "wave_low_m": 0.4, "wave_high_m": 0.7, "wind_mps": 5.0})
    assert row["reason"] == "waves up to 0.7 m (2.3 ft), 0.09 m (0.3 ft) over the limit"


def test_wind_over_the_limit_names_force_and_margin():
    # 12 m/s is 23.3 kn: Beaufort 6 (22-27 kn, WMO table, read).
    row = one({"depth_ft": 12.0, "wave_m": 0.2, "wind_mps": 12.0}, wind_limit_mps=9.0)
    assert row["reason"] == "wind 12.0 m/s (26.8 mph), Beaufort 6, 3.0 m/s (6.7 mph) over the limit"


def test_every_reason_is_listed_at_once():
    spots = spots_layer(
        [{"kind": "brush", "depth_ft": 5.0, "height_ft": 8.0, "wave_m": 1.0, "wind_mps": 15.0}],
        [at(-50, 500)],
    )
    holds = holds_layer([{"spot_id": "s0", "status": "none", "reason": "no water deep enough in reach"}])
    reasons = fishable(spots, WATER, level_m=-3 * FOOT, holds=holds)["reason"].iloc[0].split("; ")
    starts = (
        "not on today's water",
        "0.3 m (1.0 ft) too shallow",
        "top bare by 1.8 m (6.0 ft)",
        "no hold: no water deep enough in reach",
        "waves up to",
        "wind",
    )
    assert len(reasons) == len(starts)
    assert all(reason.startswith(start) for reason, start in zip(reasons, starts, strict=True))


def test_one_good_hold_is_enough_and_a_missing_one_is_a_reason():
    spots = spots_layer([{"depth_ft": 12.0}, {"depth_ft": 12.0}, {"depth_ft": 12.0}])
    holds = holds_layer(
        [
            {"spot_id": "s0", "status": "none", "hold_no": 0, "reason": "blocked"},
            {"spot_id": "s0", "status": "ok", "hold_no": 1},
            {"spot_id": "s1", "status": "none", "hold_no": 0, "reason": "blocked"},
        ]
    )
    found = fishable(spots, WATER, holds=holds)
    assert found["fishable"].tolist() == [1, 0, 0]
    assert found["reason"].tolist()[1:] == ["no hold: blocked", "no hold: the holds layer has none for it"]


def test_the_weather_at_the_hold_goes_before_that_at_the_spot():
    spots = spots_layer([{"depth_ft": 12.0, "wave_m": 0.1, "wind_mps": 3.0}])
    holds = holds_layer([{"spot_id": "s0", "status": "ok", "wave_m": 0.9, "wind_mps": 3.0}])
    assert one({"depth_ft": 12.0, "wave_m": 0.1, "wind_mps": 3.0})["fishable"] == 1
    assert fishable(spots, WATER, holds=holds)["reason"].iloc[0].startswith("waves up to 0.9 m")


def test_columns_of_wind_exposure_are_judged_as_they_come():
    spots = spots_layer([{"depth_ft": 12.0}, {"depth_ft": 12.0}], [at(60, 500), at(3900, 500)])
    exposed = wind_exposure(spots, WATER, wind_from_deg=270.0, wind_speed_mps=14.0).places
    found = fishable(exposed, WATER, wind_limit_mps=15.0, wave_limit_m=0.35)
    assert found["fishable"].tolist() == [1, 0]
    assert found["reason"].iloc[1].startswith("waves up to")


@pytest.mark.filterwarnings("default::castshed.toolbox.errors.DataWarning")
def test_without_weather_the_verdict_says_that_it_was_not_judged():
    with pytest.warns(DataWarning, match="not judged; run wind-exposure"):
        row = one({"depth_ft": 12.0})
    assert row["reason"].endswith("wind and waves not judged")


# Words that must not be misread ---------------------------------------------------------------------------------


def test_a_calm_figure_never_reads_as_safe():
    for wave in (0.0, 0.02, 0.3):
        row = one(
            {"depth_ft": 12.0, "wave_m": wave, "wave_low_m": wave, "wave_high_m": wave, "wind_mps": 0.0}
        )
        assert row["fishable"] == 1
        assert not re.search(r"\b(safe|safely|calm water|no waves|flat)\b", row["reason"])
        assert "estimate" in row["reason"]
        assert "no promise" in row["reason"]
    text = " ".join(both.spec.description.split())
    assert "does not clear the way to it" in text
    assert "official forecast" in text


def test_lengths_and_speeds_in_words():
    assert length_words(0.4) == "0.4 m (1.3 ft)"
    assert length_words(0.06) == "0.06 m (0.2 ft)"
    assert length_words(0.0) == "less than 0.01 m (0.03 ft)"
    assert length_words(1000.0) == "1000 m (3281 ft)"
    assert speed_words(8.9408) == "8.9 m/s (20.0 mph)"


# Nothing dropped, nothing changed -----------------------------------------------------------------------------


def test_the_contract_of_the_toolbox_is_kept():
    check_algorithm(
        both,
        spots_layer([{"depth_ft": 9.0, "wave_m": 0.2, "wind_mps": 3.0}, {"depth_ft": 2.0}]),
        WATER,
        holds=holds_layer([{"spot_id": "s0", "status": "ok"}]),
    )


def test_every_spot_comes_back_in_order_with_its_own_columns():
    rows = [{"id": f"x{i}", "depth_ft": float(i)} for i in range(12)]
    spots = spots_layer(rows)
    spots["owner_note"] = [f"n{i}" for i in range(12)]
    before = spots.copy(deep=True)
    found = fishable(spots, WATER, level_m=-2 * FOOT)
    assert found["spot_id"].tolist() == [r["id"] for r in rows]
    assert found["owner_note"].tolist() == spots["owner_note"].tolist()
    assert found.crs == spots.crs
    assert found.geometry.geom_equals(spots.geometry).all()
    assert set(found["fishable"]) == {0, 1}
    assert (found["reason"].str.startswith("fishable:") == (found["fishable"] == 1)).all()
    assert_geodataframe_equal(spots, before)


def test_an_empty_layer_gives_an_empty_layer_with_the_same_columns():
    full = fishable(spots_layer([{"depth_ft": 9.0}]), WATER)
    empty = fishable(spots_layer([{"depth_ft": 9.0}]).iloc[:0], WATER, holds=holds_layer([]))
    assert len(empty) == 0
    assert list(empty.columns) == list(full.columns)


@pytest.mark.parametrize("column", ["wave_m", "wave_high_m", "wind_mps"])
@pytest.mark.parametrize("value", [-0.5, "rough", np.inf])
def test_weather_columns_that_make_no_sense_are_refused(column, value):
    spots = spots_layer([{"depth_ft": 9.0}])
    spots[column] = [value]
    with pytest.raises(DataError, match=column):
        fishable(spots, WATER)


@pytest.mark.parametrize(
    "wrong", [{"least_depth_m": -1.0}, {"level_m": 999.0}, {"wave_limit_m": float("nan")}]
)
def test_parameters_out_of_their_limits_are_refused(wrong):
    with pytest.raises(UsageError):
        one({"depth_ft": 9.0}, **wrong)


# Laws -----------------------------------------------------------------------------------------------------

DEPTHS = st.lists(st.floats(-5.0, 40.0), min_size=1, max_size=12)


def verdicts(depths, heights, level, limits, error=0.0):
    n = len(depths)
    unknown = [np.nan] * n
    standing = stand(
        depths,
        heights,
        ["brush"] * n,
        level_m=level,
        limits=limits,
        off_water_m=[0.0] * n,
        other=[[]] * n,
        error_m=error,
    )
    return judge(
        standing, limits=limits, wave_low_m=unknown, wave_high_m=unknown, wind_mps=unknown, gust_mps=unknown
    )


@settings(max_examples=as_many(60), deadline=None)
@given(DEPTHS, st.floats(-10.0, 3.0), st.floats(0.0, 6.0), st.floats(0.0, 3.0))
def test_a_lower_lake_never_makes_a_shallow_spot_fishable(depths, level, height, drop):
    limits = FishingLimits(0.9, 0.3, None, 0.6, 9.0)
    heights = [height] * len(depths)
    now, lower = verdicts(depths, heights, level, limits), verdicts(depths, heights, level - drop, limits)
    assert not (lower.fishable & ~now.fishable).any()
    np.testing.assert_allclose(lower.margin_m, now.margin_m - drop, atol=1e-9)


@settings(max_examples=as_many(60), deadline=None)
@given(DEPTHS, st.floats(-10.0, 3.0), st.floats(0.0, 6.0))
def test_verdict_and_margin_say_the_same(depths, level, height):
    found = verdicts(depths, [height] * len(depths), level, FishingLimits(0.9, 0.3, 12.0, 0.6, 9.0))
    clear = np.abs(found.margin_m) > 1e-6
    assert (found.fishable[clear] == (found.margin_m[clear] > 0)).all()
