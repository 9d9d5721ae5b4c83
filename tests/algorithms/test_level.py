"""Level arithmetic and depth quality against worked values of the trade and of IHO S-44."""

from __future__ import annotations

import datetime as dt
import json
import math
import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from castshed.algorithms.level import level
from castshed.toolbox.errors import CastshedError, DataError, DataWarning, NoSolution, UsageError
from castshed.toolbox.intake.series.level_table import CODES, to_levels
from castshed.toolbox.intake.series.level_words import datum_name
from castshed.toolbox.intake.series.series_file import parse_gauge_json, read_series
from castshed.toolbox.intake.series.series_table import parse_delimited
from castshed.toolbox.intake.series.series_times import read_time
from castshed.toolbox.plan.day_file import LevelToday
from castshed.toolbox.plan.day_file import level_of as level_of_day
from castshed.toolbox.testing import check_algorithm
from castshed.toolbox.water.level.pool_level import (
    LevelSeries,
    depth_today,
    level_from_pools,
    level_from_series,
    level_of,
    pool_at,
    top_depth,
    trend_mps,
)
from castshed.toolbox.water.level.uncertainty import combined_error_m, needed_depth_m, s44_error_m

FOOT = 0.3048  # international foot, by definition
POOL = level_of(641.6 * FOOT, 650.0 * FOOT)  # normal pool 650.0 ft, today 641.6 ft

depths = st.floats(-50, 200)
levels = st.floats(-30, 30)


def test_a_charted_12_ft_is_3_6_ft_with_the_pool_at_641_6_of_650_ft():
    assert depth_today(12 * FOOT, POOL) / FOOT == pytest.approx(3.6)  # worked


def test_a_5_ft_hump_stands_dry_by_3_4_ft():
    assert depth_today(5 * FOOT, POOL) / FOOT == pytest.approx(-3.4)  # worked


def test_with_the_lake_down_five_feet_five_feet_come_off_every_depth():
    charted = np.array([6.0, 10.0, 33.0]) * FOOT
    assert depth_today(charted, -5 * FOOT) / FOOT == pytest.approx([1.0, 5.0, 28.0])  # common practice


def test_brush_of_8_ft_on_14_ft_is_bare_by_2_4_ft_at_8_4_ft_of_drawdown():
    bottom = depth_today(14 * FOOT, -8.4 * FOOT)
    assert bottom / FOOT == pytest.approx(5.6)  # worked
    assert top_depth(bottom, 8 * FOOT) / FOOT == pytest.approx(-2.4)  # worked


@pytest.mark.parametrize(("order", "expected"), [("order-1", 0.5166), ("special", 0.2610)])
def test_s44_error_at_10_m(order, expected):
    """IHO S-44 ed. 6: sqrt(a^2 + (b d)^2); order 1 a 0.5 b 0.013, special a 0.25 b 0.0075 (read second-hand)."""
    assert s44_error_m(order, 10.0) == pytest.approx(expected, abs=5e-5)


def test_orders_of_survey_are_ranked():
    errors = [s44_error_m(order, 20.0) for order in ("exclusive", "special", "order-1", "order-2")]
    assert errors == sorted(errors)


def test_an_unknown_order_lists_the_known_ones():
    with pytest.raises(UsageError, match="special"):
        s44_error_m("order-9", 1.0)


def test_independent_errors_combine_like_the_sides_of_a_triangle():
    assert combined_error_m(0.3, 0.4) == pytest.approx(0.5)
    assert combined_error_m() == 0.0


@given(st.floats(0, 3), st.floats(0, 2), st.floats(0, 2), st.floats(0, 2), st.floats(0, 1))
def test_no_error_ever_lessens_the_depth_needed(boat, margin, depth_error, level_error, more):
    needed = needed_depth_m(boat, margin, depth_error, level_error)
    assert needed >= boat + margin
    assert needed_depth_m(boat, margin, depth_error + more, level_error) >= needed
    assert needed_depth_m(boat, margin, depth_error, level_error + more) >= needed
    assert needed <= boat + margin + depth_error + level_error + 1e-9
    assert math.isfinite(needed)


# Elevations and datums ------------------------------------------------------------------------------------------


def test_level_from_two_elevations_on_one_datum():
    found = level_from_pools(641.6 * FOOT, 650.0 * FOOT, "NGVD29", "NGVD29")
    assert found.level_m / FOOT == pytest.approx(-8.4)  # worked
    assert (found.datum, found.notes, found.measured) == ("NGVD29", (), True)


def test_a_mix_of_datums_is_refused_with_the_remedy():
    with pytest.raises(
        UsageError, match=r"NAVD88 and the normal pool on NGVD29.*Look the normal pool up on NAVD88"
    ):
        level_from_pools(200.0, 201.0, "NAVD88", "NGVD29")
    assert datum_name("ngvd 1929") == datum_name("NGVD29") == "NGVD29"
    assert datum_name("North American Vertical Datum of 1988") == "NAVD88"


def test_a_datum_that_is_not_named_is_said():
    assert "taken to be NAVD88 too" in " ".join(level_from_pools(200.0, 201.0, "NAVD88").notes)
    assert "normal pool" not in " ".join(level_from_pools(200.0, 201.0, "", "NAVD88").notes)
    assert "no vertical datum is named" in " ".join(level_from_pools(200.0, 201.0).notes)


def test_feet_and_metres_mixed_up_are_noticed():
    with pytest.raises(UsageError, match="check their units"):
        level_from_pools(712.0, 712.0 * FOOT)
    assert "check their units" in " ".join(level_from_pools(60.0, 100.0, "D", "D").notes)


def test_international_and_survey_foot_are_two():
    # By definition: 0.3048 m, and 1200/3937 m; 0.0006 m apart at 1,000 ft.
    plain = csv("time,elevation_ft", "2026-05-16T06:00Z,1000")
    survey = csv("time,elevation", "2026-05-16T06:00Z,1000", unit="ftUS")
    assert plain.elevation_m[0] == pytest.approx(304.8, abs=1e-12)
    assert survey.elevation_m[0] - plain.elevation_m[0] == pytest.approx(0.0006, abs=2e-5)


# Tables ---------------------------------------------------------------------------------------------------------


def csv(*lines, **told):
    return to_levels(parse_delimited("\n".join(lines).encode(), "levels.csv"), **told)


# In the form in which a national water service publishes readings (form read, gauge and figures invented).
SERVICE = """# Data provided for site 00000001
#    TS_ID       Parameter Description
#    20001       62614     Lake or reservoir water surface elevation above NGVD 1929, feet
#    20002       62615     Lake or reservoir water surface elevation above NAVD 1988, feet
#
agency_cd\tsite_no\tdatetime\ttz_cd\t20001_62614\t20001_62614_cd\t20002_62615\t20002_62615_cd
5s\t15s\t20d\t6s\t14n\t10s\t14n\t10s
LARK\t00000001\t2026-05-15 23:30\tCDT\t708.10\tP\t708.45\tP
LARK\t00000001\t2026-05-16 00:00\tCDT\t708.00\tP\t708.35\tP
LARK\t00000001\t2026-05-16 00:30\tCDT\tEqp\tP\t\tP
"""


def series_json(
    code="62616",
    values=(("2026-05-15T23:00:00.000-05:00", "216.1"), ("2026-05-16T00:00:00.000-05:00", "216.0")),
):
    body = {
        "value": {
            "timeSeries": [
                {
                    "sourceInfo": {"siteCode": [{"value": "00000001", "agencyCode": "LARK"}]},
                    "variable": {
                        "variableCode": [{"value": code}],
                        "unit": {"unitCode": CODES.get(code, ("ft", ""))[0]},
                        "noDataValue": -999999.0,
                    },
                    "values": [
                        {"value": [{"value": v, "qualifiers": ["P"], "dateTime": t} for t, v in values]},
                    ],
                }
            ]
        }
    }
    return json.dumps(body).encode()


def features_json():
    rows = [("2026-05-16T05:00:00+00:00", "708.00"), ("2026-05-15T05:00:00+00:00", "708.20")]
    features = [
        {
            "type": "Feature",
            "geometry": None,
            "properties": {
                "monitoring_location_id": "LARK-00000001",
                "parameter_code": "62615",
                "time": time,
                "value": value,
                "unit_of_measure": "ft",
                "approval_status": "Provisional",
            },
        }
        for time, value in rows
    ]
    return json.dumps({"type": "FeatureCollection", "features": features}).encode()


def test_parameter_codes_name_unit_and_datum():
    assert CODES == {"62614": ("ft", "NGVD29"), "62615": ("ft", "NAVD88"), "62616": ("m", "NGVD29")}  # read


def test_a_services_tab_separated_table_is_read_by_parameter():
    table = parse_delimited(SERVICE.encode(), "gauge.txt")
    for datum, feet in (("NGVD29", 708.0), ("NAVD 88", 708.35)):
        found = to_levels(table, wanted_datum=datum)
        assert found.datum == datum_name(datum)
        assert found.elevation_m[-1] == pytest.approx(feet * FOOT)
        assert found.time[-1] == read_time("2026-05-16T05:00Z")
    assert to_levels(table, parameter="62615").elevation_m[0] == pytest.approx(708.45 * FOOT)
    assert "provisional" in " ".join(found.said)
    assert "1 rows of gauge.txt have no number" in " ".join(found.said)
    with pytest.raises(UsageError, match="parameters 62614, 62615; choose one with parameter"):
        to_levels(table)
    with pytest.raises(UsageError, match="no parameter 62616"):
        to_levels(table, parameter="62616")


def test_both_json_forms_are_read():
    found = to_levels(parse_gauge_json(series_json(), "gauge.json"))
    assert (found.datum, found.elevation_m.tolist()) == ("NGVD29", [216.1, 216.0])
    assert "provisional" in " ".join(found.said)
    found = to_levels(parse_gauge_json(features_json(), "gauge.json"))
    assert found.datum == "NAVD88"
    assert found.elevation_m.tolist() == pytest.approx([708.2 * FOOT, 708.0 * FOOT])  # put in order of time


def test_what_a_gauge_writes_for_nothing_is_no_level():
    values = (("2026-05-15T23:00:00-05:00", "-999999"), ("2026-05-16T00:00:00-05:00", "216.0"))
    assert to_levels(parse_gauge_json(series_json(values=values), "g")).elevation_m.tolist() == [216.0]


def test_a_gage_height_is_no_elevation():
    with pytest.raises(DataError, match="add the elevation of that zero"):
        to_levels(parse_gauge_json(series_json(code="00065"), "g"))


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"{", "no sound JSON"),
        (b"[1]", "another kind"),
        (b'{"value": {"timeSeries": []}}', "no readings"),
        (b'{"value": {"timeSeries": [{}]}}', "lacks a part"),
        (b'{"value": {"timeSeries": 5}}', "lacks a part"),
        (b'{"type": "FeatureCollection", "features": [{"properties": null}]}', "lacks a part"),
        (b"[" * 100_000, "no sound JSON"),
    ],
)
def test_json_that_holds_no_readings_is_refused(data, words):
    with pytest.raises(DataError, match=words):
        parse_gauge_json(data, "gauge.json")


@given(st.recursive(st.none() | st.booleans() | st.floats() | st.text(max_size=8), lambda x: st.lists(x, max_size=3) | st.dictionaries(st.sampled_from(["value", "timeSeries", "type", "features", "properties", "variable", "values", "sourceInfo"]), x, max_size=4)))  # fmt: skip
def test_no_json_ends_in_anything_but_levels_or_a_message(body):
    for made in (body, {"value": {"timeSeries": body}}, {"type": "FeatureCollection", "features": body}):
        with pytest.raises(CastshedError):
            to_levels(parse_gauge_json(json.dumps(made).encode(), "made.json"))


def test_a_plain_table_names_unit_and_datum_in_its_columns():
    found = csv(
        "date,pool_elevation_ft,vertical_datum",
        "2026-05-15,708.2,NGVD29",
        "2026-05-16,708.0,NGVD29",
        zone="UTC",
    )
    assert found.datum == "NGVD29"
    assert found.time[0].hour == 12
    assert "noon in UTC" in " ".join(found.said)


@pytest.mark.parametrize(
    ("lines", "told", "words"),
    [
        (("time,pool", "2026-05-16T06:00Z,700"), {}, "name no unit.*ftUS"),
        (("time,pool_ft", "2026-05-16,700"), {}, "names no zone"),
        (("time,depth_ft", "2026-05-16T06:00Z,700"), {}, "known as elevation"),
        (("time,pool_ft,level_m", "2026-05-16T06:00Z,700,2"), {}, "several columns.*elevation=pool_ft"),
        (
            ("time,pool_ft,datum", "2026-05-16T06:00Z,700,NGVD29", "2026-05-16T07:00Z,700,NAVD88"),
            {},
            "mixes vertical",
        ),
        (("time,pool_ft,datum", "2026-05-16T06:00Z,700,NGVD29"), {"datum": "NAVD88"}, "stands on NGVD29"),
        (("time,pool_ft", "2026-05-16T06:00Z,gone"), {}, "no elevation that is a number"),
        (("time,pool_ft", "2026-05-16T06:00Z,7", "2026-05-16T06:00Z,8"), {}, "each time once"),
        (("time,pool_ft", "2026-05-16T06:00Z,99999"), {}, "no elevation of a lake"),
        (("time,pool", "2026-05-16T06:00Z,700"), {"unit": "yd"}, "choose one of: ft, ftUS, m"),
    ],
)
def test_tables_that_do_not_tell_enough_are_refused(lines, told, words):
    with pytest.raises((DataError, UsageError), match=words):
        csv(*lines, **told)


# At a moment ----------------------------------------------------------------------------------------------------

START = dt.datetime(2026, 5, 10, tzinfo=dt.UTC)


def days(*values):
    return LevelSeries(
        tuple(START + dt.timedelta(days=k) for k in range(len(values))), np.array(values, dtype=float)
    )


def test_between_two_readings_the_straight_line_counts():
    series = days(216.0, 216.4, 216.2)
    assert pool_at(series, START + dt.timedelta(hours=6)).elevation_m == pytest.approx(
        216.1
    )  # worked: a quarter
    assert pool_at(series, START + dt.timedelta(days=1)).how.startswith("read at 2026-05-11")
    assert pool_at(series, START + dt.timedelta(days=2)).elevation_m == 216.2


def test_a_long_gap_is_said():
    series = LevelSeries((START, START + dt.timedelta(days=6)), np.array([216.0, 216.6]))
    assert "6.0 days apart" in pool_at(series, START + dt.timedelta(days=1)).how


def test_nothing_is_made_up_beyond_the_last_reading_unless_asked_for():
    series = days(216.0, 215.9, 215.8, 215.7)
    later = START + dt.timedelta(days=4)
    with pytest.raises(NoSolution, match=r"24\.0 h before the time asked"):
        pool_at(series, later)
    with pytest.raises(NoSolution, match="begins at"):
        pool_at(series, START - dt.timedelta(hours=1))
    held, carried = pool_at(series, later, "hold"), pool_at(series, later, "trend")
    assert (held.elevation_m, held.carried_m) == (215.7, 0.0)
    assert carried.elevation_m == pytest.approx(215.6)  # worked: 10 cm a day
    assert carried.carried_m == pytest.approx(-0.1)
    assert "-10.0 cm a day" in carried.how
    for one in (held, carried):
        assert one.how.startswith("NOT MEASURED")
    with pytest.raises(NoSolution, match="more than 7 days"):
        pool_at(series, START + dt.timedelta(days=20), "trend")
    with pytest.raises(UsageError, match="choose one of: refuse, hold, trend"):
        pool_at(series, later, "guess")


def test_a_trend_needs_readings():
    with pytest.raises(NoSolution, match="2 readings"):
        pool_at(days(216.0, 215.9), START + dt.timedelta(days=2), "trend")


@given(st.floats(-0.5, 0.5), st.floats(100.0, 1000.0), st.integers(4, 40))
def test_the_trend_of_a_straight_line_is_its_slope(slope, start, count):
    series = days(*(start + slope * np.arange(count)))
    assert trend_mps(series) * 86_400.0 == pytest.approx(slope, abs=1e-9)


def test_old_floods_play_no_part_in_the_trend():
    assert trend_mps(days(220.0, 219.0, 216.0, 216.0, 216.0, 216.0)) == pytest.approx(0.0, abs=1e-12)


def test_level_over_time_against_normal_pool():
    series = LevelSeries(
        (START, START + dt.timedelta(days=1)), np.array([641.6, 642.0]) * FOOT, "NGVD29", "t"
    )
    found = level_from_series(series, 650.0 * FOOT, "NGVD29", START)
    assert found.level_m / FOOT == pytest.approx(-8.4)  # worked
    assert found.measured
    assert level_from_series(series, 650.0 * FOOT, "NGVD29").level_m / FOOT == pytest.approx(-8.0)
    with pytest.raises(UsageError, match="Two vertical datums"):
        level_from_series(series, 650.0 * FOOT, "NAVD88", START)


# The command ----------------------------------------------------------------------------------------------------


def answer(**given):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DataWarning)
        made = level(**given)
    return json.loads(made.files["level.json"]), " ".join(made.said)


def test_the_three_ways_to_a_level():
    pools = csv("time,pool_ft,datum", "2026-05-16T06:00Z,641.6,NGVD29")
    for way in (
        {"today_m": -8.4 * FOOT},
        {"pool_m": 641.6 * FOOT, "normal_pool_m": 650.0 * FOOT},
        {"table": pools, "normal_pool_m": 650.0 * FOOT, "normal_datum": "NGVD 1929"},
    ):
        body, said = answer(**way)
        assert body["level_ft"] == pytest.approx(-8.4)
        assert "2.560 m (8.40 ft) below" in said
        assert "Check the operator's own reading" in body["caution"]
    assert body["datum"] == "NGVD29"


def test_a_level_that_is_not_measured_says_so_on_every_face():
    given = {
        "table": days(216.0, 215.9, 215.8, 215.7),
        "normal_pool_m": 217.0,
        "time": "2026-05-14T00:00Z",
        "beyond": "trend",
    }
    body, said = answer(**given)
    assert (body["measured"], body["carried_m"]) == (False, pytest.approx(-0.1))
    assert "NOT MEASURED" in body["how"]
    assert "carried on beyond the last reading" in said
    with pytest.warns(DataWarning, match="not measured"):
        level(**given)


def test_the_contract_of_the_toolbox_is_kept():
    check_algorithm(level, pool_m=200.0, normal_pool_m=201.0, datum="NAVD88", normal_datum="NAVD88")


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, "by nothing; give one of"),
        ({"today_m": 1.0, "pool_m": 2.0}, "by today and pool"),
        ({"pool_m": 2.0}, "normal-pool is missing"),
        ({"today_m": 1.0, "normal_pool_m": 2.0}, "leave normal-pool"),
        ({"today_m": 1.0, "time": "2026-05-16T06:00Z"}, "belong to a table"),
        ({"pool_m": 1.0, "normal_pool_m": 2.0, "datum": "NGVD29", "normal_datum": "navd88"}, "no level"),
        ({"pool_m": 1.0, "normal_pool_m": 2.0, "beyond": "guess"}, "choose one of"),
    ],
)
def test_what_cannot_be_meant_is_refused(given, words):
    with pytest.raises(UsageError, match=words):
        level(**given)


def test_a_day_file_takes_a_table_and_reads_it_off_at_departure(tmp_path):
    (tmp_path / "pool.csv").write_text(
        "time,pool_ft,datum\n2026-05-16T00:00-05:00,708.0,NGVD29\n2026-05-16T12:00-05:00,709.0,NGVD29\n"
    )
    section = LevelToday(table="pool.csv", normal_pool_m=712.0 * FOOT, normal_datum="NGVD29")
    date = dt.date(2026, 5, 16)
    found = level_of_day(section, tmp_path, date, "America/Chicago", "06:00")
    assert found / FOOT == pytest.approx(-3.5)  # worked: half way
    assert level_of_day(section, tmp_path, date, "America/Chicago") / FOOT == pytest.approx(-3.0)
    for wrong in (
        LevelToday(table="pool.csv"),
        LevelToday(table="pool.csv", pool_m=1.0, normal_pool_m=2.0),
        LevelToday(table="pool.csv", today_m=1.0),
    ):
        with pytest.raises(UsageError, match=r"\[level\]"):
            level_of_day(wrong, tmp_path, date, "America/Chicago")
    mixed = LevelToday(table="pool.csv", normal_pool_m=217.0, normal_datum="NAVD88")
    with pytest.raises(UsageError, match="NGVD29 and the normal pool on NAVD88"):
        level_of_day(mixed, tmp_path, date, "America/Chicago")
    with pytest.raises(DataError, match="not there"):
        level_of_day(LevelToday(table="gone.csv", normal_pool_m=2.0), tmp_path, date, "UTC")


def test_the_demo_table_agrees_with_the_demo_day():
    from importlib import resources

    with resources.as_file(resources.files("castshed.demo_layers") / "pool_levels.csv") as path:
        series = to_levels(read_series(path, "levels"), zone="America/Chicago")
    found = level_from_series(series, 712.0 * FOOT, "NGVD29")
    assert found.level_m / FOOT == pytest.approx(-4.0, abs=0.05)  # the day file says -4ft
