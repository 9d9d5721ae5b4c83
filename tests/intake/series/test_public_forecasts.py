"""Hourly forecasts as public weather services hand them out: ranges, preambles, zones, JSON of several shapes."""

import datetime as dt
import json

import numpy as np
import pytest

from castshed.toolbox.errors import CastshedError, DataError, UsageError
from castshed.toolbox.intake.series.forecast_table import read_bearing, read_wind, to_forecast
from castshed.toolbox.intake.series.series_file import read_series

MPH = 1609.344 / 3600.0  # a statute mile is 1609.344 m
KN = 1852.0 / 3600.0  # a nautical mile is 1852 m
KMH = 1000.0 / 3600.0
CDT = dt.timezone(dt.timedelta(hours=-5))


def read(tmp_path, text, name="forecast.txt", **options):
    path = tmp_path / name
    path.write_text(text if isinstance(text, str) else json.dumps(text), encoding="utf-8")
    return to_forecast(read_series(path, "forecast"), **options)


@pytest.mark.parametrize(
    ("text", "wind", "gust"),
    [
        ("8 to 12 mph", 12 * MPH, None),
        ("12 to 8 mph", 12 * MPH, None),
        ("8–12 mph", 12 * MPH, None),
        ("8 mph to 12 mph", 12 * MPH, None),
        ("around 10 mph", 10 * MPH, None),
        ("up to 15 kt", 15 * KN, None),
        ("less than 5 mph", 5 * MPH, None),
        ("10 to 15 mph, with gusts to 25 mph", 15 * MPH, 25 * MPH),
        ("10 to 15 mph with gusts as high as 25", 15 * MPH, 25 * MPH),
        ("10G20KT", 10 * KN, 20 * KN),
        ("15 km/h", 15 * KMH, None),
        ("15 wmoUnit:km_h-1", 15 * KMH, None),
        ("4 m s-1", 4.0, None),
        ("20 mp/h", 20 * MPH, None),
        ("Calm", 0.0, None),
        ("8 km/h to 12 mph", 12 * MPH, None),
        ("30 km/h to 12 mph", 30 * KMH, None),
    ],
)
def test_of_a_range_the_worse_end_counts(text, wind, gust):
    found, beside = read_wind(text, None, "cell")
    assert found == pytest.approx(wind)
    assert np.isnan(beside) if gust is None else beside == pytest.approx(gust)


@pytest.mark.parametrize(
    "text",
    ["strong", "5 furlongs", "-5 mph", "10 to mph", "1e400 mph mph", "gust", "to", "8 to 12 to 14 mph"],
)
def test_what_is_no_wind_is_refused(text):
    with pytest.raises((DataError, UsageError)):
        read_wind(text, None, "cell")


@pytest.mark.parametrize(
    ("text", "bearing"),
    [
        ("SW", 225.0), ("Southwest", 225.0), ("south-southwest", 202.5), ("from the north", 0.0), ("270°", 270.0),
        ("northerly", 0.0), ("360", 0.0),
    ],
)  # fmt: skip
def test_bearings_in_words(text, bearing):
    assert read_bearing(text, "cell") == bearing


@pytest.mark.parametrize("text", ["SW to W", "VRB", "variable", "N/NE", "S becoming W"])
def test_a_wind_between_two_bearings_varies(text):
    assert np.isnan(read_bearing(text, "cell"))


@pytest.mark.parametrize("text", ["400", "nowhere", "", "SW to nowhere", "12 to 400"])
def test_what_is_no_bearing_is_refused(text):
    with pytest.raises(DataError, match="bearing"):
        read_bearing(text, "cell")


def test_lines_above_the_heads_are_passed_over_and_their_zone_is_taken(tmp_path):
    found = read(
        tmp_path,
        "Hourly forecast for a point on the lake\n"
        'Issued,"Saturday, 6 in the morning"\n'
        "All times are in CDT\n"
        "Wind height: 10 m\n"
        "\n"
        "Date,Time,Wind Speed (mph),Wind Gust (mph),Wind Dir\n"
        "05/16/2026,6:00 AM,5 to 8,12,SW\n"
        "05/16/2026,1:00 PM,10 to 15,25,W\n"
        "End of forecast\n",
        zone="UTC",
    )
    assert found.time == (
        dt.datetime(2026, 5, 16, 6, tzinfo=CDT),
        dt.datetime(2026, 5, 16, 13, tzinfo=CDT),
    )
    assert found.wind_mps == pytest.approx([8 * MPH, 15 * MPH])
    assert found.gust_mps == pytest.approx([12 * MPH, 25 * MPH])
    assert any("5 lines above" in s or "4 lines above" in s for s in found.said)
    assert any("CDT" in s for s in found.said)


def test_a_line_of_units_below_the_heads_goes_into_them(tmp_path):
    found = read(tmp_path, "time,wind,gust,direction\nUTC,km/h,km/h,deg\n2026-05-16T06:00Z,36,72,90\n")
    assert found.wind_mps == pytest.approx([10.0])
    assert found.gust_mps == pytest.approx([20.0])


def test_periods_of_a_public_service(tmp_path):
    periods = [
        {
            "number": 1, "startTime": "2026-05-16T06:00:00-05:00", "endTime": "2026-05-16T07:00:00-05:00",
            "isDaytime": True, "temperature": 61, "windSpeed": "8 to 12 mph", "windDirection": "SW",
            "windGust": "20 mph", "dewpoint": {"unitCode": "wmoUnit:degC", "value": 9.4},
        },
        {
            "number": 2, "startTime": "2026-05-16T07:00:00-05:00", "endTime": "2026-05-16T10:00:00-05:00",
            "isDaytime": True, "temperature": 61, "windSpeed": "15 mph", "windDirection": "W", "windGust": None,
            "dewpoint": {"unitCode": "wmoUnit:degC", "value": 9.4},
        },
    ]  # fmt: skip
    found = read(tmp_path, {"type": "Feature", "properties": {"units": "us", "periods": periods}})
    assert [t.hour for t in found.time] == [6, 7, 8, 9]
    assert found.wind_mps == pytest.approx([12 * MPH, *[15 * MPH] * 3])
    assert found.gust_mps[0] == pytest.approx(20 * MPH)
    assert np.isnan(found.gust_mps[1])
    assert list(found.wind_from_deg) == [225.0, 270.0, 270.0, 270.0]


def test_quantities_with_a_range_count_by_their_upper_end(tmp_path):
    row = {
        "startTime": "2026-05-16T06:00:00+00:00",
        "windSpeed": {"unitCode": "wmoUnit:km_h-1", "minValue": 18, "maxValue": 36},
        "windGust": {"unitCode": "wmoUnit:km_h-1", "value": 54},
        "windDirection": {"unitCode": "wmoUnit:degree_(angle)", "value": 180},
    }
    found = read(tmp_path, {"properties": {"periods": [row]}})
    assert found.wind_mps == pytest.approx([10.0])
    assert found.gust_mps == pytest.approx([15.0])
    assert list(found.wind_from_deg) == [180.0]


def test_series_with_spans_are_joined_hour_by_hour(tmp_path):
    def series(unit, *values):
        return {"uom": unit, "values": [{"validTime": when, "value": v} for when, v in values]}

    body = {
        "properties": {
            "windSpeed": series("wmoUnit:km_h-1", ("2026-05-16T06:00:00+00:00/PT2H", 36), ("2026-05-16T08:00:00+00:00/PT1H", 18)),
            "windGust": series("wmoUnit:km_h-1", ("2026-05-16T06:00:00+00:00/PT3H", 72)),
            "windDirection": series("wmoUnit:degree_(angle)", ("2026-05-16T06:00:00+00:00/PT3H", 200)),
        }
    }  # fmt: skip
    found = read(tmp_path, body)
    assert found.wind_mps == pytest.approx([10.0, 10.0, 5.0])
    assert found.gust_mps == pytest.approx([20.0] * 3)
    assert [t.hour for t in found.time] == [6, 7, 8]


def test_columns_side_by_side_with_units_and_an_offset(tmp_path):
    body = {
        "utc_offset_seconds": -18000, "timezone": "GMT-5",
        "hourly_units": {"time": "iso8601", "wind_speed_10m": "km/h", "wind_gusts_10m": "km/h", "wind_direction_10m": "°"},
        "hourly": {
            "time": ["2026-05-16T06:00", "2026-05-16T07:00"], "wind_speed_10m": [36.0, 18.0],
            "wind_gusts_10m": [54.0, 27.0], "wind_direction_10m": [200, 210],
        },
    }  # fmt: skip
    found = read(tmp_path, body)
    assert found.wind_mps == pytest.approx([10.0, 5.0])
    assert found.gust_mps == pytest.approx([15.0, 7.5])
    assert found.time[0] == dt.datetime(2026, 5, 16, 6, tzinfo=CDT)


def test_nested_details_with_units_apart(tmp_path):
    def hour(time, wind, gust, bearing):
        details = {
            "wind_speed": wind,
            "wind_speed_of_gust": gust,
            "wind_from_direction": bearing,
            "air_temperature": 9.0,
        }
        return {"time": time, "data": {"instant": {"details": details}, "next_1_hours": {"details": {"precipitation_amount": 0.0}}}}  # fmt: skip

    body = {
        "properties": {
            "meta": {"units": {"wind_speed": "m/s", "wind_speed_of_gust": "m/s", "wind_from_direction": "degrees", "air_temperature": "celsius"}},
            "timeseries": [hour("2026-05-16T06:00:00Z", 7.5, 12.0, 90.0), hour("2026-05-16T07:00:00Z", 8.0, 13.0, 95.0)],
        }
    }  # fmt: skip
    found = read(tmp_path, body)
    assert list(found.wind_mps) == [7.5, 8.0]
    assert list(found.gust_mps) == [12.0, 13.0]
    assert list(found.wind_from_deg) == [90.0, 95.0]


def test_seconds_since_1970_are_times(tmp_path):
    seconds = int(dt.datetime(2026, 5, 16, 6, tzinfo=dt.UTC).timestamp())
    found = read(tmp_path, [{"time": seconds, "wind_mph": 10, "dir": "S"}])
    assert found.time == (dt.datetime(2026, 5, 16, 6, tzinfo=dt.UTC),)


def test_json_without_rows_says_which_keys_it_saw(tmp_path):
    with pytest.raises(DataError, match="Keys seen: title, status"):
        read(tmp_path, {"title": "Not Found", "status": 404})


def test_json_without_wind_says_which_columns_it_saw(tmp_path):
    with pytest.raises(UsageError, match=r"known as wind; it has time, temperature"):
        read(tmp_path, [{"time": "2026-05-16T06:00Z", "temperature": 61}])


@pytest.mark.parametrize(
    "text",
    [
        "[" * 5000, "{}", "[]", "[1]", '{"a": {"a": {"a": 1}}}', '{"values": [{"validTime": 5}]}', '{"time": []}',
        '{"time": ["2026-05-16T06:00Z"], "wind": [{}]}', '[{"time": null}]', '[{"time": {"value": []}}]', "nul",
        '{"windSpeed": {"values": [{"validTime": "2026-05-16T06:00:00Z/P999DT9999H", "value": []}]}}',
        '{"windSpeed": {"values": [{"validTime": "9999-12-31T23:00:00Z/PT9H", "value": 4}]}}',
        (
            '{"windSpeed": {"values": [{"validTime": "2026-05-16T06:00:00/PT9H", "value": 4}, '
            '{"validTime": "2026-05-16T06:00:00Z/PT9H", "value": 4}]}}'
        ),
        '[{"startTime": "x", "endTime": "y", "windSpeed": "8 to", "windDirection": "S"}]',
        '[{"time": "2026-05-16T06:00Z", "wind": NaN, "dir": Infinity}]',
        "time;wind;dir\n\x01;2;3", "a\n" * 100, "Time,,\n,,\n", 'x\n"time,wind', "Time,Wind\n" + "1" * 200_000 + ",5",
    ],
)  # fmt: skip
def test_hostile_files_are_refused_in_words(tmp_path, text):
    with pytest.raises(CastshedError):
        read(tmp_path, text)
