"""Verdicts by hour: times and intervals, light, waves, wind, gusts, the way, closed zones, and what is marginal."""

import datetime as dt
import re
import zoneinfo

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from castshed.algorithms.fishable import fishable
from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import DataError, DataWarning, UsageError
from castshed.toolbox.testing import check_algorithm
from castshed.toolbox.water.verdicts.verdict import FishingLimits, stand
from castshed.toolbox.water.verdicts.way_seas import SeaLimits, sea_of, seas_on_ways
from castshed.toolbox.water.wind.forecast import intervals, read_hours
from castshed.toolbox.water.wind.waves import wave_band
from long_tests import as_many

FOOT = 0.3048
CRS = "EPSG:32615"
WEST, SOUTH = 500_000.0, 4_000_000.0
LAKE = shapely.box(WEST, SOUTH, WEST + 8000, SOUTH + 8000)
WATER = gpd.GeoDataFrame({"water_id": ["w"]}, geometry=[LAKE], crs=CRS)
DAY = dt.date(2026, 5, 16)


def at(x, y):
    return shapely.Point(WEST + x, SOUTH + y)


def spots_layer(count=1, depth_m=4.0, **columns):
    return gpd.GeoDataFrame(
        {
            "spot_id": [f"s{i}" for i in range(count)],
            "kind": ["hump"] * count,
            "depth_m": np.broadcast_to(depth_m, count).astype(float),
            **columns,
        },
        geometry=[at(4000 + 10 * i, 4000) for i in range(count)],
        crs=CRS,
    )


def clock(hour, zone="-05:00"):
    return f"2026-05-16T{hour:02d}:00{zone}"


def exposure_layer(hours, spots=("s0",), zone="-05:00", **figures):
    """One row a spot and hour; a figure is one number, or one an hour."""
    count = len(hours)
    rows = {
        "spot_id": np.repeat(np.array(spots, dtype=object), count),
        "time": [clock(h, zone) if isinstance(h, int) else h for h in hours] * len(spots),
    }
    usual = {
        "wind_mps": 3.0, "gust_mps": 4.0, "wind_from_deg": 200.0, "fetch_m": 1000.0, "wave_m": 0.1,
        "wave_low_m": 0.08, "wave_high_m": 0.12, "period_s": 1.2,
    }  # fmt: skip
    for name, value in (usual | figures).items():
        rows[name] = np.tile(np.broadcast_to(np.asarray(value, dtype=float), count), len(spots))
    rows |= {"wave_method": "named", "bank": "open"}
    return gpd.GeoDataFrame(rows, geometry=[at(4000, 4000)] * count * len(spots), crs=CRS)


def holds_layer(rows):
    columns = ("depth_today_m", "cast_m", "cast_bearing_deg", "deep_bearing_deg", "wind_angle_deg")
    return gpd.GeoDataFrame(
        {
            "spot_id": [r[0] for r in rows],
            "hold_no": [r[1] for r in rows],
            "status": [r[2] for r in rows],
            "reason": ["on the deep side"] * len(rows),
            **{c: [5.0] * len(rows) for c in columns},
        },
        geometry=[r[3] if len(r) > 3 else at(4000, 4020) for r in rows],
        crs=CRS,
    )


def ways_layer(rows):
    return gpd.GeoDataFrame(
        {
            "from_id": np.array([r[0] for r in rows], dtype=object),
            "to_id": np.array([r[1] for r in rows], dtype=object),
            **{c: [float(r[2].length) for r in rows] for c in ("distance_m", "idle_m", "slow_m", "time_s")},
        },
        geometry=[r[2] for r in rows],
        crs=CRS,
    )


def line(*points):
    return shapely.LineString([(WEST + x, SOUTH + y) for x, y in points])


def both(hours, spots=None, **options):
    figures = {k: options.pop(k) for k in list(options) if k in {"wind_mps", "gust_mps", "wind_from_deg", "wave_m", "wave_low_m", "wave_high_m"}}  # fmt: skip
    spots = spots_layer() if spots is None else spots
    layer = options.pop("exposure", None)
    if layer is None:
        layer = exposure_layer(hours, tuple(spots["spot_id"]), **figures)
    return fishable(spots, WATER, exposure=layer, **options)


# Times ------------------------------------------------------------------------------------------------------


def test_intervals_of_the_day():
    hours, _ = read_hours([clock(h) for h in range(5, 20)])
    good = [6 <= one.hour < 10 or 15 <= one.hour < 18 for one in hours.start]
    assert intervals(hours, good) == "06:00-10:00, 15:00-18:00"
    assert intervals(hours, [False] * 15) == ""
    assert intervals(hours, [True] * 15) == "05:00-20:00"


def test_the_last_hour_of_a_day_ends_at_24():
    hours, _ = read_hours([clock(h) for h in range(24)])
    assert intervals(hours, [True] * 24) == "00:00-24:00"


def test_a_gap_in_the_forecast_is_no_forecast():
    hours, _ = read_hours([clock(h) for h in (6, 7, 8, 12, 13)])
    assert intervals(hours, [True] * 5) == "06:00-09:00, 12:00-14:00"


def test_a_three_hourly_forecast_speaks_for_three_hours():
    hours, _ = read_hours([clock(h) for h in (6, 9, 12)])
    assert intervals(hours, [True, False, True]) == "06:00-09:00, 12:00-15:00"
    alone, _ = read_hours([clock(6)])
    assert intervals(alone, [True]) == "06:00-07:00"


def test_a_daily_figure_speaks_for_six_hours_at_most():
    hours, _ = read_hours(["2026-05-16T06:00-05:00", "2026-05-17T06:00-05:00"])
    assert intervals(hours, [True, True]) == "2026-05-16 06:00-12:00, 2026-05-17 06:00-12:00"


def test_hours_over_midnight_say_the_date():
    hours, _ = read_hours([f"2026-05-{16 + h // 24}T{h % 24:02d}:00Z" for h in range(22, 27)])
    assert intervals(hours, [True] * 5) == "2026-05-16 22:00-2026-05-17 03:00"
    assert (
        intervals(hours, [True, True, False, False, True]) == "2026-05-16 22:00-24:00, 2026-05-17 02:00-03:00"
    )


def test_one_instant_in_two_zones_is_one_hour():
    hours, place = read_hours(["2026-05-16T12:00Z", "2026-05-16T06:00-05:00", "2026-05-16T07:00-05:00"])
    assert len(hours) == 2
    assert place.tolist() == [1, 0, 1]


def test_the_hour_that_autumn_has_twice():
    # In America/Chicago clocks go back on 2026-11-01 at 02:00 (first Sunday of November).
    zone = zoneinfo.ZoneInfo("America/Chicago")
    hours, _ = read_hours([f"2026-11-01T{h:02d}:00Z" for h in range(5, 10)], zone)
    assert [f"{one:%H:%M}" for one in hours.start] == ["00:00", "01:00", "01:00", "02:00", "03:00"]
    assert intervals(hours, [True] * 5) == "00:00-04:00"
    assert intervals(hours, [False, True, False, True, True]) == "01:00-01:00, 02:00-04:00"


@pytest.mark.parametrize("text", ["2026-05-16T06:00", "six", "", "2026-13-01T00:00Z", "06:00-05:00"])
def test_times_that_are_none_are_refused(text):
    with pytest.raises(DataError, match=r"exposure|time is"):
        both([text])


def test_a_layer_without_hours_is_refused_with_the_remedy():
    layer = exposure_layer([10]).drop(columns=["time"])
    with pytest.raises(DataError, match="Run wind-exposure with a forecast"):
        fishable(spots_layer(), WATER, exposure=layer)
    with pytest.raises(DataError, match="no rows"):
        fishable(spots_layer(), WATER, exposure=exposure_layer([10]).iloc[:0])


@settings(max_examples=as_many(80), deadline=None)
@given(st.lists(st.booleans(), min_size=24, max_size=24))
def test_intervals_cover_just_the_good_hours(good):
    hours, _ = read_hours([clock(h) for h in range(24)])
    text = intervals(hours, good)
    covered = set()
    for part in filter(None, text.split(", ")):
        start, end = (int(one[:2]) for one in part.split("-"))
        covered |= set(range(start, end))
    assert covered == {h for h in range(24) if good[h]}


# Hours with every reason ----------------------------------------------------------------------------------------


def test_a_row_for_each_spot_and_hour():
    found = both(range(6, 18), spots_layer(3))
    assert len(found.verdicts) == 36
    assert found.verdicts["spot_id"].tolist()[:13] == ["s0"] * 12 + ["s1"]
    assert found.verdicts["time"].iloc[0] == "2026-05-16T06:00:00-05:00"
    assert found.verdicts["fishable"].tolist() == [1] * 36
    assert found.judged["hours"].tolist() == ["06:00-18:00"] * 3
    assert list(found.verdicts.geometry.iloc[::12]) == list(found.judged.geometry)


def test_the_hours_in_which_waves_are_low_enough():
    high = np.where(np.arange(6, 18) < 11, 0.3, 0.8)
    found = both(range(6, 18), wave_high_m=high, wave_limit_m=0.6)
    assert found.judged["hours"].iloc[0] == "06:00-11:00"
    assert found.judged["fishable"].iloc[0] == 1
    assert "5 of 12 hours" in found.judged["reason"].iloc[0]
    assert found.verdicts["reason"].iloc[5] == "waves up to 0.8 m (2.6 ft), 0.2 m (0.7 ft) over the limit"


def test_gusts_count_beside_the_wind():
    found = both([10, 11], wind_mps=6.0, gust_mps=[10.0, 14.0], wind_limit_mps=9.0, gust_limit_mps=12.0)
    assert found.verdicts["fishable"].tolist() == [1, 0]
    assert found.verdicts["reason"].iloc[1] == "gusts 14.0 m/s (31.3 mph), 2.0 m/s (4.5 mph) over the limit"


def test_dark_hours_do_not_count_unless_wanted():
    # 40 N: civil dawn in mid May is a little after 05:00 daylight saving time at 93 W, dusk before 21:00.
    found = both(range(24), time_zone="America/Chicago")
    hours = found.judged["hours"].iloc[0]
    assert hours == "06:00-20:00"
    assert found.verdicts["reason"].iloc[4].startswith("dark until civil dawn at 05:")
    assert found.verdicts["reason"].iloc[20].startswith("dark from civil dusk at 20:")
    assert both(range(24), at_night=True).judged["hours"].iloc[0] == "00:00-24:00"


def test_the_clock_is_that_of_the_lake_where_the_forecast_is_in_utc():
    utc = [f"2026-05-16T{h:02d}:00Z" for h in range(24)]
    found = both(utc, time_zone="America/Chicago")
    # 24 hours from 19:00 the evening before: the first hour is light, then it is dark until the morning.
    assert found.judged["hours"].iloc[0] == "2026-05-15 19:00-20:00, 2026-05-16 06:00-19:00"
    # In UTC the same instants are light: an evening west of Greenwich must not turn dark by its date.
    told = both(utc)
    assert told.verdicts["fishable"].tolist() == found.verdicts["fishable"].tolist()
    assert told.judged["hours"].iloc[0] == "00:00-01:00, 11:00-24:00"


def test_every_reason_of_an_hour_is_listed():
    found = both(
        [3], spots_layer(depth_m=0.5), wave_high_m=1.0, wind_mps=12.0, gust_mps=16.0,
        wave_limit_m=0.6, wind_limit_mps=9.0, gust_limit_mps=12.0,
    )  # fmt: skip
    starts = ("0.4 m (1.4 ft) too shallow", "dark until civil dawn", "waves up to", "wind 12.0", "gusts 16.0")
    reasons = found.verdicts["reason"].iloc[0].split("; ")
    assert len(reasons) == len(starts)
    assert all(one.startswith(start) for one, start in zip(reasons, starts, strict=True))


def test_a_day_without_any_good_hour_sums_up_what_spoke_against_it():
    high = np.array([0.3, 0.7, 0.9])
    found = both([3, 12, 13], wave_high_m=high, wave_limit_m=0.6)
    row = found.judged.iloc[0]
    assert row["fishable"] == 0
    assert row["hours"] == ""
    assert (
        row["reason"]
        == "dark in 1 of 3 hours; waves over the limit in 2 of 3 hours, by 0.1 m (0.3 ft) at least"
    )


def test_hours_without_figures_do_not_pass():
    spots = spots_layer(2)
    found = both(
        [10, 11],
        spots,
        exposure=exposure_layer([10, 11], ("s0",), wave_high_m=[0.2, np.nan], wave_m=[0.1, np.nan]),
    )
    assert found.verdicts["fishable"].tolist() == [1, 0, 0, 0]
    assert found.verdicts["reason"].iloc[1] == "wind and waves not known"
    assert found.judged["reason"].iloc[1] == "wind and waves not known in 2 of 2 hours"


def test_the_hold_that_is_fished_from_decides():
    holds = holds_layer([("s0", 1, "ok"), ("s0", 2, "ok")])
    layer = exposure_layer([10, 11], ("s0", "s0"))
    layer["hold_no"] = [1, 1, 2, 2]
    layer.loc[2:, "wave_high_m"] = 2.0
    found = both([], holds=holds, exposure=layer)
    assert found.verdicts["fishable"].tolist() == [1, 1]
    with pytest.warns(DataWarning, match="several rows"):
        found = both([], exposure=layer)
    assert found.verdicts["fishable"].tolist() == [0, 0]  # without holds the worse one counts


def test_rows_in_any_order_and_of_other_spots():
    layer = exposure_layer(range(8, 14), ("s1", "elsewhere", "s0"), wave_high_m=np.linspace(0.3, 0.8, 6))
    spots = spots_layer(2)
    straight = both([], spots, exposure=layer)
    mixed = both([], spots, exposure=layer.sample(frac=1.0, random_state=4))
    assert straight.verdicts.drop(columns="geometry").equals(mixed.verdicts.drop(columns="geometry"))
    assert straight.judged["hours"].tolist() == ["08:00-12:00"] * 2


@pytest.mark.parametrize("column", ["wave_high_m", "wind_mps", "gust_mps"])
def test_negative_figures_are_refused(column):
    with pytest.raises(DataError, match=column):
        both([10], exposure=exposure_layer([10], **{column: -1.0}))


def test_an_unknown_time_zone_is_refused():
    with pytest.raises(UsageError, match="IANA"):
        both([10], time_zone="Lake/Time")


# The way ----------------------------------------------------------------------------------------------------


def test_how_a_boat_meets_the_seas():
    heading = np.array([0.0, 44.0, 46.0, 134.0, 136.0, 180.0, 226.0, 314.0, 316.0])
    assert sea_of(heading, np.zeros(9)).tolist() == [0, 0, 1, 1, 2, 2, 1, 1, 0]


def test_seas_on_a_straight_way_are_those_of_its_fetch():
    # Wind from the north on a square lake: fetch is the distance from the north bank; the boat runs north.
    way = line((4000, 1000), (4000, 5000))
    wind = np.array([8.0])
    found = seas_on_ways([way, None], LAKE, np.array([0.0]), wind, SeaLimits(0.3, 0.2, 0.25))
    # The worst place is the first piece, 100 m from the start: fetch 6900 m. Out it is a head sea, back following,
    # whose limit is the lower one.
    expected = wave_band("spm-1984", wind, np.array([[6900.0]]), None, None).high_m[0, 0]
    assert found.wave_m[0, 0] == pytest.approx(expected, rel=1e-9)
    assert found.over_m[0, 0] == pytest.approx(expected - 0.25, rel=1e-9)
    assert (found.sea[0, 0], found.back[0, 0], found.along_m[0, 0]) == (2, True, 100.0)
    assert np.isnan(found.over_m[1, 0])
    # Of a second way the distance is from its own start.
    other = seas_on_ways([way, way], LAKE, np.array([0.0]), wind, SeaLimits(0.3, 0.2, 0.25))
    assert other.along_m.ravel().tolist() == [100.0, 100.0]
    # Ways in other water have their own waves: fetch 1900 m from the middle of its first piece.
    two = seas_on_ways(
        [way, line((5000, 6000), (5000, 7000))], LAKE, np.array([0.0]), wind, SeaLimits(1, 1, 1)
    )
    near = wave_band("spm-1984", wind, np.array([[1900.0]]), None, None).high_m[0, 0]
    assert two.wave_m.ravel().tolist() == pytest.approx([expected, near], rel=1e-9)


def test_a_beam_sea_over_its_limit_closes_the_hour_and_names_the_place():
    ways = ways_layer([("R1", "s0", line((1000, 4000), (4000, 4000)))])
    found = both([10, 11], wind_mps=9.0, wind_from_deg=[0.0, 90.0], ways=ways, wind_limit_mps=20.0,
                 head_limit_m=2.0, following_limit_m=2.0, beam_limit_m=0.3)  # fmt: skip
    assert found.verdicts["fishable"].tolist() == [0, 1]
    text = found.verdicts["reason"].iloc[0]
    assert re.fullmatch(
        r"beam seas on the way out up to [\d.]+ m \([\d.]+ ft\), [\d.]+ m \([\d.]+ ft\) over the limit, "
        r"\d+(\.\d+)? k?m \(.*\) by water from R1",
        text,
    )


def test_the_way_decides_and_not_the_hold_alone():
    # A hold in the lee of the north bank, reached across the open lake.
    ways = ways_layer([("R1", "s0", line((4000, 100), (4000, 7900)))])
    calm_hold = {"wave_high_m": 0.05, "wave_low_m": 0.02, "wave_m": 0.03}
    options = {"wind_mps": 8.0, "wind_from_deg": 0.0, **calm_hold}
    assert both([10], **options).judged["fishable"].iloc[0] == 1
    blocked = both([10], ways=ways, head_limit_m=0.3, following_limit_m=0.3, **options)
    assert blocked.judged["fishable"].iloc[0] == 0
    assert "seas on the way" in blocked.judged["reason"].iloc[0]


def test_the_strongest_wind_of_an_hour_blows_over_the_way():
    layer = exposure_layer([10], ("s0", "s1"))
    layer["wind_mps"], layer["wind_from_deg"] = [3.0, 12.0], [90.0, 0.0]
    way = line((1000, 4000), (4000, 4000))
    ways = ways_layer([("R1", "s0", way), ("R1", "s1", way)])
    found = both([], spots_layer(2), exposure=layer, ways=ways, beam_limit_m=0.3, wind_limit_mps=20.0)
    assert found.verdicts["reason"].str.startswith("beam seas on the way out").all()


def test_the_way_is_judged_for_a_single_wind_too():
    spots = spots_layer(wave_m=[0.1], wind_mps=[9.0], wind_from_deg=[0.0])
    ways = ways_layer([("R1", "s0", line((1000, 4000), (4000, 4000)))])
    options = {"wind_limit_mps": 20.0, "beam_limit_m": 0.3}
    assert fishable(spots, WATER, **options).judged["fishable"].tolist() == [1]
    row = fishable(spots, WATER, ways=ways, **options).judged.iloc[0]
    assert row["fishable"] == 0
    assert row["reason"].startswith("beam seas on the way out up to")
    # From the same side as the way runs it is a head sea, and within its limit.
    spots["wind_from_deg"] = 90.0
    assert fishable(spots, WATER, ways=ways, head_limit_m=2.0, following_limit_m=2.0, **options).judged[
        "fishable"
    ].tolist() == [1]


def test_a_height_without_a_band_counts_as_both_ends():
    layer = exposure_layer([10], wave_m=0.9, wave_low_m=np.nan, wave_high_m=np.nan)
    found = both([], exposure=layer, wave_limit_m=0.6)
    assert found.verdicts["reason"].tolist() == ["waves up to 0.9 m (3.0 ft), 0.3 m (1.0 ft) over the limit"]


def test_no_way_from_the_ramp_and_another_ramp():
    way = line((1000, 4000), (4000, 4000))
    spots = spots_layer(2)
    ways = ways_layer([("R1", "R2", way), ("R1", "s0", way), ("R2", "s1", way)])
    found = both([10], spots, ways=ways)
    assert found.judged["fishable"].tolist() == [1, 0]
    assert found.judged["reason"].iloc[1] == "out of reach: the ways layer has none from R1 to it"
    assert both([10], spots, ways=ways, from_ramp="R2").judged["fishable"].tolist() == [0, 1]
    with pytest.raises(UsageError, match=r"R9.*R1, R2"):
        both([10], spots, ways=ways, from_ramp="R9")
    with pytest.raises(DataError, match="--from-ramp"):
        both([10], spots, ways=ways_layer([("s0", "s1", way), ("R1", "s0", way)]))


def test_a_way_drawn_towards_the_ramp_is_turned_round():
    ways = ways_layer([("s0", "R1", line((4000, 4000), (1000, 4000)))])
    found = both([10], ways=ways, from_ramp="R1", wind_mps=9.0, wind_from_deg=270.0, head_limit_m=0.1)
    # Head sea on the way out from the ramp in the west? The boat heads east, wind from the west: following out.
    assert "head seas on the way back" in found.verdicts["reason"].iloc[0]


def test_the_first_hold_with_a_way_is_taken():
    holds = holds_layer([("s0", 1, "ok", at(4000, 4020)), ("s0", 2, "ok", at(4000, 3980))])
    ways = ways_layer([("R1", "s0 hold 2", line((1000, 4000), (4000, 3980)))])
    layer = exposure_layer([10], ("s0", "s0"))
    layer["hold_no"] = [1, 2]
    layer["wave_high_m"] = [0.1, 1.0]
    found = both([], holds=holds, ways=ways, exposure=layer)
    assert found.judged["fishable"].iloc[0] == 0
    assert found.verdicts["reason"].iloc[0].startswith("waves up to 1.0 m")


def test_left_out_rows_speak_against_a_spot_only_when_out_of_reach():
    spots = spots_layer(4)
    left = gpd.GeoDataFrame(
        {
            "spot_id": ["s0", "s1", "s2", "R2"],
            "name": [""] * 4,
            "reason": [
                "out of reach: cut off by dry ground", "not among the 8 best rated", "no hold: too thin",
                "the ramp can't be used at today's level",
            ],
        },
        geometry=[at(4000, 4000)] * 4,
        crs=CRS,
    )  # fmt: skip
    found = both([10], spots, left_out=left).judged
    assert found["fishable"].tolist() == [0, 1, 0, 1]
    assert found["reason"].iloc[0] == "out of reach: cut off by dry ground"
    assert found["reason"].iloc[2] == "no hold: too thin"
    holds = holds_layer([("s0", 1, "ok"), ("s0", 2, "ok"), *((f"s{i}", 1, "ok") for i in (1, 2, 3))])
    # Two holds, one of them cut off: the other is reached.
    assert both([10], spots, left_out=left, holds=holds).judged["fishable"].tolist() == [1, 1, 1, 1]


def test_holds_in_closed_zones_fail_and_slow_ones_do_not():
    areas = [shapely.box(WEST + x, SOUTH, WEST + x + 10, SOUTH + 8000) for x in (3995, 4005, 4015)]
    zones = gpd.GeoDataFrame(
        {"zone": ["no_entry", "no_motor", "slow"], "reason": ["swimming", "", "docks"]},
        geometry=areas,
        crs=CRS,
    )
    found = both([10], spots_layer(3), zones=zones).judged
    assert found["fishable"].tolist() == [0, 0, 1]
    assert found["reason"].tolist()[:2] == [
        "lies in a closed zone (no entry: swimming)", "lies in a closed zone (no motor)",
    ]  # fmt: skip
    # From a hold outside, a spot inside can be fished by this rule: what counts is where the boat is.
    outside = holds_layer([(f"s{i}", 1, "ok", at(4100, 4000)) for i in range(3)])
    assert both([10], spots_layer(3), zones=zones, holds=outside).judged["fishable"].tolist() == [1, 1, 1]


def test_of_two_holds_the_one_outside_the_closed_zone_is_taken():
    zones = gpd.GeoDataFrame({"zone": ["no_entry"]}, geometry=[at(4000, 4020).buffer(15)], crs=CRS)
    both_holds = [("s0", 1, "ok", at(4000, 4020)), ("s0", 2, "ok", at(4000, 3960))]
    found = both([10], zones=zones, holds=holds_layer(both_holds)).judged
    assert found["fishable"].tolist() == [1]
    one = both([10], zones=zones, holds=holds_layer(both_holds[:1])).judged
    assert one["reason"].tolist() == ["the hold lies in a closed zone (no entry)"]


# Marginal ---------------------------------------------------------------------------------------------------


def test_errors_of_depth_and_level_combine_as_the_root_of_squares():
    # Worked: 3 and 4 make 5. Least depth 1 m; 1.499 m flips within 0.5 m, 1.501 m does not.
    spots = spots_layer(4, depth_m=[1.499, 1.501, 0.501, 0.499])
    found = both([10], spots, least_depth_m=1.0, listed_error_m=0.3, level_error_m=0.4)
    assert found.judged["marginal"].tolist() == [1, 0, 1, 0]
    assert found.judged["fishable"].tolist() == [1, 1, 0, 0]
    assert found.verdicts["marginal"].tolist() == [1, 0, 1, 0]
    assert "marginal: depth and level are known to 0.5 m (1.6 ft)" in found.judged["reason"].iloc[0]
    assert "marginal" not in found.judged["reason"].iloc[1]


def test_depths_from_the_coverage_carry_its_error():
    from dataclasses import replace

    flat = DepthSurface(np.full((100, 100), 1.4), WEST, SOUTH + 8000, 80.0, 80.0, CRS)
    for error, marginal in ((0.3, 0), (0.5, 1)):
        depth = replace(flat, error_m=error)
        found = both([10], spots_layer(depth_m=np.nan), depth=depth, least_depth_m=1.0, level_error_m=0.0)
        assert found.judged["marginal"].tolist() == [marginal]


def test_what_other_reasons_close_is_not_marginal():
    spots = spots_layer(depth_m=0.8)
    assert both([10], spots).judged["marginal"].tolist() == [1]
    rough = both([10], spots, wave_high_m=2.0)
    assert rough.judged["marginal"].tolist() == [0]
    assert rough.verdicts["marginal"].tolist() == [0]
    mixed = both([10, 11], spots, wave_high_m=[2.0, 0.1])
    assert mixed.verdicts["marginal"].tolist() == [0, 1]
    assert mixed.judged["marginal"].tolist() == [1]
    # One that passes within the error, at the one hour it has: the day would turn round with it.
    thin = both([10, 11], spots_layer(depth_m=1.0), wave_high_m=[2.0, 0.1])
    assert thin.judged[["fishable", "marginal"]].iloc[0].tolist() == [1, 1]
    # Deeper water gives no hold.
    nowhere = both([10], spots, holds=holds_layer([("s0", 1, "none")]))
    assert nowhere.judged["marginal"].tolist() == [0]


def test_a_spot_just_fallen_dry_is_marginal_and_one_on_land_is_not():
    spots = spots_layer(2, depth_m=[-0.1, 4.0])
    spots = spots.set_geometry([at(-3, 4000), at(-3, 4000)])
    found = both([10], spots, least_depth_m=0.0, listed_error_m=0.3).judged
    assert found["fishable"].tolist() == [0, 0]
    # The first lies off the water because it is dry, by less than the error; no depth brings the second to the water.
    assert found["marginal"].tolist() == [1, 0]
    assert found["reason"].iloc[0].startswith("not on today's water")


depths = st.floats(-1.0, 6.0)


@settings(max_examples=as_many(200), deadline=None)
@given(
    depths, st.floats(0.0, 4.0), st.floats(0.0, 1.0), st.booleans(), st.one_of(st.none(), st.floats(1.0, 5.0))
)
def test_marginal_is_what_some_shift_within_the_error_turns_round(depth, height, error, brush, deepest):
    limits = FishingLimits(0.9, 0.3, deepest, 0.6, 9.0)

    def one(shift, unsure=0.0):
        return stand([depth + shift], [height if brush else np.nan], ["brush"], level_m=0.0, limits=limits,
                     off_water_m=[0.0], other=[[]], error_m=unsure)  # fmt: skip

    now = one(0.0, error)
    # Tried out: the verdict at many shifts within the error, and at those that bring a margin just to nought.
    edges = [0.9 - depth, 0.3 - depth + height, *([] if deepest is None else [deepest - depth])]
    shifts = [*np.linspace(-error, error, 41), *(e for e in edges if abs(e) <= error)]
    turned = any(bool(one(s).against[0]) != bool(now.against[0]) for s in shifts)
    near_edge = any(abs(abs(e) - error) < 1e-4 or abs(e) < 1e-4 for e in edges)
    if not near_edge:
        assert bool(now.unsure[0]) == turned


# Laws -----------------------------------------------------------------------------------------------------

FIGURES = st.lists(st.tuples(*[st.one_of(st.just(np.nan), st.floats(0.0, 2.0))] * 3), min_size=1, max_size=8)


@settings(max_examples=as_many(60), deadline=None)
@given(FIGURES, st.floats(0.1, 1.5), st.floats(0.0, 0.5), st.floats(0.5, 2.0), st.booleans())
def test_looser_limits_never_close_an_hour_and_verdict_and_reason_agree(figures, wave, more, depth, brush):
    waves, winds, gusts = (np.array(one) for one in zip(*figures, strict=True))
    spots = spots_layer(depth_m=depth)
    spots["kind"], spots["height_m"] = ("brush" if brush else "hump"), 0.5
    options = {"wind_mps": 10 * winds, "gust_mps": 10 * gusts, "wave_high_m": waves, "wave_m": waves}
    hours = list(range(8, 8 + len(figures)))
    tight, loose = (
        both(
            hours, spots, **options, wave_limit_m=wave + k * more, wind_limit_mps=8 + k, gust_limit_mps=11 + k
        )
        for k in (0, 1)
    )
    assert (tight.verdicts["fishable"] <= loose.verdicts["fishable"]).all()
    for found in (tight, loose):
        good = found.verdicts["fishable"] == 1
        assert (found.verdicts["reason"].str.startswith("fishable:") == good).all()
        assert found.judged["fishable"].iloc[0] == int(good.any())
        assert (found.judged["hours"].iloc[0] != "") == good.any()
        assert found.judged["reason"].iloc[0] != ""
        assert (found.verdicts["reason"] != "").all()
        # unknown wind or waves are no pass
        unknown = np.isnan(waves) | np.isnan(winds)
        assert not good[unknown].any()


# Words, and the contract ----------------------------------------------------------------------------------------


def test_a_calm_figure_never_reads_as_safe_at_any_hour():
    ways = ways_layer([("R1", "s0", line((1000, 4000), (4000, 4000)))])
    calm = {"wave_m": 0.0, "wave_low_m": 0.0, "wave_high_m": 0.0, "wind_mps": 0.0, "gust_mps": 0.0}
    for options in ({}, {"ways": ways}):
        found = both(range(24), **calm, **options)
        texts = [*found.judged["reason"], *found.verdicts["reason"], *found.judged["hours"]]
        assert found.judged["fishable"].iloc[0] == 1
        for text in texts:
            assert not re.search(r"\b(safe|safely|calm water|no waves|flat|harmless|fine|good to go)\b", text)
        for text in found.verdicts["reason"][found.verdicts["fishable"] == 1]:
            assert text.endswith("no promise of calm")
        assert "no promise of calm" in found.judged["reason"].iloc[0]
    assert "way not judged" in both([10], **calm).judged["reason"].iloc[0]


def test_the_contract_of_the_toolbox_is_kept_with_hours():
    way = line((1000, 4000), (4000, 4000))
    check_algorithm(
        fishable,
        spots_layer(2),
        WATER,
        exposure=exposure_layer(range(4, 12), ("s0", "s1")),
        ways=ways_layer([("R1", "s0", way), ("R1", "s1", way)]),
        holds=holds_layer([("s0", 1, "ok"), ("s1", 1, "ok")]),
    )


def test_the_spots_without_hours_are_judged_as_before():
    found = fishable(spots_layer(wave_m=[0.2], wind_mps=[3.0]), WATER)
    assert found.verdicts is None
    assert found.judged["hours"].tolist() == [""]
    assert found.judged["fishable"].tolist() == [1]
