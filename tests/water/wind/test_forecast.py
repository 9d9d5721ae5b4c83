"""Forecasts: winds out of tables, and stated winds brought to those that waves are worked from."""

import datetime as dt

import numpy as np
import pytest
import scientimate
from hypothesis import given
from hypothesis import strategies as st

from castshed.toolbox.errors import CastshedError, DataError, FileMissing, UsageError
from castshed.toolbox.intake.series.forecast_table import to_forecast
from castshed.toolbox.intake.series.series_file import read_series
from castshed.toolbox.intake.series.series_table import parse_delimited
from castshed.toolbox.intake.series.series_times import read_time, read_times
from castshed.toolbox.water.wind.exposure import wind_for_waves
from castshed.toolbox.water.wind.forecast import Forecast, averaging_ratio, wind_at_10_m
from castshed.toolbox.water.wind.waves import duration_needed

MPH, KNOT = 0.44704, 1852.0 / 3600.0


def table(*lines, name="forecast.csv"):
    return parse_delimited("\n".join(lines).encode(), name)


def forecast(*lines, **told):
    return to_forecast(table(*lines), **told)


HOURS = ("2026-05-16T06:00-05:00,SW,12,18", "2026-05-16T07:00-05:00,225,14,20")


# Corrections ----------------------------------------------------------------------------------------------------


def test_a_five_minute_wind_and_its_hour():
    # EM 1110-2-1100 Part II-2, example problem II-2-1 (read): ratio approximately 1.09; 20.3, 24.8 and 28.2 m/s over
    # five minutes are 18.6, 22.8 and 25.9 m/s over the hour.
    ratio = float(averaging_ratio(300.0))
    assert ratio == pytest.approx(1.09, abs=0.005)
    assert (np.array([20.3, 24.8, 28.2]) / ratio) == pytest.approx([18.6, 22.8, 25.9], abs=0.07)


def test_winds_over_more_than_an_hour():
    # Same, example problem II-2-2 (read): U5400 0.9735, U10800 0.9284, together 1.048.
    assert averaging_ratio([5400.0, 10_800.0]).tolist() == pytest.approx([0.9735, 0.9284], abs=2e-4)
    assert float(averaging_ratio(5400.0) / averaging_ratio(10_800.0)) == pytest.approx(1.048, abs=0.001)


def test_the_hour_is_the_measure_and_longer_is_weaker():
    times = np.array([1.0, 3.0, 60.0, 120.0, 600.0, 1800.0, 3600.0, 7200.0, 36_000.0])
    ratios = averaging_ratio(times)
    assert ratios[6] == 1.0
    assert (np.diff(ratios) < 0).all()
    assert averaging_ratio(0.1) == averaging_ratio(1.0)


def test_height_by_the_one_seventh_rule():
    # EM 1110-2-1100 Part II-2, eq. II-2-9 (read): U10 = Uz (10/z)^(1/7); worked: 2 m, factor 5^(1/7) = 1.2585.
    assert float(wind_at_10_m(10.0, 2.0)) == pytest.approx(12.585, abs=0.0005)
    assert float(wind_at_10_m(7.0, 10.0)) == 7.0
    assert float(wind_at_10_m(7.0, 20.0)) < 7.0
    for height in (0.5, 80.0):
        with pytest.raises(UsageError, match="Use a forecast for 10 m"):
            wind_at_10_m(7.0, height)


def test_averaging_agrees_with_scientimate():
    times = np.array([3.0, 60.0, 120.0, 600.0, 1800.0, 7200.0])
    np.testing.assert_allclose(averaging_ratio(times), scientimate.windgustfactor(times), rtol=1e-9)


def test_the_wind_for_waves_is_averaged_as_long_as_they_need():
    # Definition: it is the hour's mean times the ratio of the time that this very wind needs at this fetch.
    found = float(wind_for_waves(10.0, 120.0, 1000.0, np.nan))
    hourly = 10.0 / float(averaging_ratio(120.0))
    needed = float(duration_needed(found, 1000.0))
    assert needed < 3600.0
    assert found == pytest.approx(hourly * float(averaging_ratio(needed)), rel=1e-3)
    assert hourly < found < 10.0
    # A long fetch needs more than the hour for which the forecast stands: the hour's mean.
    assert float(wind_for_waves(10.0, 3600.0, 80_000.0, np.nan)) == 10.0
    # A wind that has just begun is averaged over no more than it has blown.
    assert float(wind_for_waves(10.0, 120.0, 1000.0, np.nan, duration_s=120.0)) == pytest.approx(10.0)
    assert float(wind_for_waves(0.0, 120.0, 1000.0, np.nan)) == 0.0
    assert float(wind_for_waves(8.0, 120.0, np.nan, np.nan)) > 0.0


# Tables ---------------------------------------------------------------------------------------------------------


def test_a_plain_table_is_understood_from_its_header():
    found = forecast("time,wind_from_deg,wind_mph,gust_mph,air_f", *(f"{row},60" for row in HOURS))
    assert [t.isoformat() for t in found.time] == ["2026-05-16T06:00:00-05:00", "2026-05-16T07:00:00-05:00"]
    assert found.wind_mps.tolist() == pytest.approx([12 * MPH, 14 * MPH])
    assert found.gust_mps.tolist() == pytest.approx([18 * MPH, 20 * MPH])
    assert found.wind_from_deg.tolist() == [225.0, 225.0]
    assert found.averaged_s is None


@pytest.mark.parametrize(
    ("header", "unit_mps"),
    [
        ("Wind Speed (mph)", MPH),
        ("wind [km/h]", 1 / 3.6),
        ("wind_kn", KNOT),
        ("Sustained wind, kts", KNOT),
        ("windspeed m/s", 1.0),
        ("wind ft/s", 0.3048),
        ("wind_speed_10m_kmh", 1 / 3.6),
    ],
)
def test_units_in_a_header(header, unit_mps):
    found = forecast(f"Valid Time\tDirection\t{header}", "2026-05-16T06:00Z\tNNW\t10")
    assert found.wind_mps.tolist() == pytest.approx([10 * unit_mps])
    assert found.wind_from_deg.tolist() == [337.5]
    assert np.isnan(found.gust_mps).all()


def test_other_headers_and_units_are_told():
    found = forecast(
        "when;Mittel;Boe;aus",
        "2026-05-16T06:00+02:00;10;20;10",
        columns=["time=when", "wind=mittel", "gust=Boe", "wind-from=aus"],
        in_units=["wind=km/h", "gust=kn"],
    )
    assert found.wind_mps.tolist() == pytest.approx([10 / 3.6])
    assert found.gust_mps.tolist() == pytest.approx([20 * KNOT])


def test_units_in_cells_ranges_and_calms():
    found = forecast(
        "time,wind,wind dir",
        "2026-05-16T06:00Z,10 to 15 mph,S",
        "2026-05-16T07:00Z,calm,",
        "2026-05-16T08:00Z,7 kn,90",
    )
    assert found.wind_mps.tolist() == pytest.approx([15 * MPH, 0.0, 7 * KNOT])  # of a range the windier end
    assert np.isnan(forecast("time,wind_kn,dir", "2026-05-16T06:00Z,3,VRB").wind_from_deg).all()


def test_height_and_averaging_are_taken_where_they_are_stated():
    body = "2026-05-16T06:00Z,270,10"
    lower = forecast("time,wind_from,wind_4m_mps", body)
    assert lower.wind_mps[0] == pytest.approx(10.0 * 2.5 ** (1 / 7))
    assert "far from 10 m" in " ".join(lower.said)
    assert forecast("time,wind_from,wind_2min_mps", body).averaged_s == 120.0
    comments = ("# Wind height: 8 m", "# Averaged over: 10 min")
    stated = forecast(*comments, "time,wind_from,wind_mps", body)
    assert stated.wind_mps[0] == pytest.approx(10.0 * 1.25 ** (1 / 7))
    assert stated.averaged_s == 600.0
    told = forecast(*comments, "time,wind_from,wind_mps", body, height_m=10.0, averaged_s=60.0)
    assert (told.wind_mps[0], told.averaged_s) == (10.0, 60.0)
    with pytest.raises(UsageError, match="between 2 and 20 m"):
        forecast("time,wind_from,wind_80m_mps", body)


def test_gusts_below_the_wind_are_pointed_out():
    found = forecast("time,wind_from,wind_mps,gust_mps", "2026-05-16T06:00Z,270,10,4")
    assert "swapped" in " ".join(found.said)


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (("time,wind_mph,wind_from", "2026-05-16 06:00,5,200"), "line 2.*names no zone.*America/Chicago"),
        (("time,wind_mph,wind_from", "16.15.2026 6:00,5,200"), "line 2.*cannot be read"),
        (("time,wind_mph,wind_from", "16.5.2026 6:00,5,200"), "line 2.*names no zone"),
        (("time,wind_mph,wind_from", "2026-05-16,5,200"), "a date alone"),
        (("time,wind_mph,wind_from", "0001-01-01T00:00+14:00,5,200"), "cannot be read"),
        (("time,wind_mph,wind_from", "9999-12-31T23:59-14:00,5,200"), "cannot be read"),
        (("time,wind,wind_from", "2026-05-16T06:00Z,5,200"), "names its unit.*wind=mph"),
        (("time,wind_mph,wind_from", "2026-05-16T06:00Z,strong,200"), "line 2: wind is 'strong'"),
        (("time,wind_mph,wind_from", "2026-05-16T06:00Z,5 furlongs,200"), "not known; known are m/s"),
        (("time,wind_mph,wind_from", "2026-05-16T06:00Z,-5,200"), "no speed"),
        (("time,wind_mph,wind_from", "2026-05-16T06:00Z,,200"), "no wind in line 2"),
        (("time,wind_mph,wind_from", "2026-05-16T06:00Z,5,"), "VRB for a wind that varies"),
        (("time,wind_mph,wind_from", "2026-05-16T06:00Z,5,400"), "no bearing"),
        (("time,wind_mph,wind_from", "2026-05-16T06:00Z,500,40"), "0 to 100 m/s"),
        (("time,wind_mph", "2026-05-16T06:00Z,5"), "known as wind_from.*wind_from=Header"),
        (("time,wind_mph,wind_kn,dir", "2026-05-16T06:00Z,5,4,9"), "several columns.*wind=wind_mph"),
        (("time,wind_mph,dir", "2026-05-16T07:00Z,5,9", "2026-05-16T06:00Z,5,9"), "in order"),
        (("time,wind_mph,dir", "2026-05-16T07:00Z,5,9", "2026-05-16T07:00Z,5,9"), "each once"),
        (("time,wind_mph,dir", "2026-05-16T07:00Z,5,9,8"), "line 2 has 4 cells where the header has 3"),
        (("time,wind_mph,dir",), "a header and no rows"),
        (("time,time,dir", "1,2,3"), "several columns called time"),
        (("only", "1"), "1 columns"),
        (('time,wind_mph,"dir', "2026-05-16T07:00Z,5,9"), "quote"),
        (("# nothing",), "no rows"),
    ],
)
def test_what_cannot_be_used_says_where_and_what_to_do(lines, words):
    with pytest.raises((DataError, UsageError), match=words):
        forecast(*lines)


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"columns": ["wind"]}, "write role=value"),
        ({"columns": ["speed=wind_mph"]}, "with one of time, wind"),
        ({"columns": ["wind=gone"]}, "no column 'gone'"),
        ({"in_units": ["wind=furlongs"]}, "not known"),
        ({"zone": "Mars/Base"}, "IANA"),
    ],
)
def test_options_that_cannot_be_used_are_refused(told, words):
    with pytest.raises(UsageError, match=words):
        forecast("time,wind_mph,dir", "2026-05-16T07:00Z,5,9", **told)


def test_files_that_are_no_tables_are_refused(tmp_path):
    with pytest.raises(FileMissing, match="not there"):
        read_series(tmp_path / "gone.csv", "forecast")
    with pytest.raises(DataError, match="not a file"):
        read_series(tmp_path, "forecast")
    for data, words in (
        (b"", "empty"),
        (b"  \n", "empty"),
        (b"PK\x03\x04rest", "workbook"),
        (b"<html>", "web page"),
        (b'{"a": 1}', "JSON"),
        (b"SQLite format 3\x00", "database"),
        (b"\x00\x01,\x02", "NUL"),
    ):
        path = tmp_path / "given.csv"
        path.write_bytes(data)
        with pytest.raises(DataError, match=words):
            read_series(path, "forecast")


@given(st.text(max_size=200), st.sampled_from(["", "time,wind_mph,wind_from\n", "# wind height: "]))
def test_no_text_ends_in_anything_but_a_forecast_or_a_message(text, head):
    try:
        found = to_forecast(parse_delimited((head + text).encode(), "made.csv"), zone="America/Chicago")
    except CastshedError as error:
        assert len(str(error)) > 20
    else:
        assert np.isfinite(found.wind_mps).all()


# Times ----------------------------------------------------------------------------------------------------------


def test_a_zone_places_clock_times_through_the_change_of_the_clocks():
    # Chicago 2026: clocks go back on 1 November at 2:00 CDT, so 1:00 comes twice (tz database).
    texts = ["2026-11-01T00:00", "2026-11-01T01:00", "2026-11-01T01:00", "2026-11-01T02:00"]
    times, _ = read_times(texts, [2, 3, 4, 5], "f.csv", zone="America/Chicago")
    assert [t.astimezone(dt.UTC).hour for t in times] == [5, 6, 7, 8]
    assert times[1].isoformat() == "2026-11-01T01:00:00-05:00"
    assert times[2].isoformat() == "2026-11-01T01:00:00-06:00"


def test_an_hour_that_the_clocks_skip_is_refused():
    # Chicago 2026: clocks go forward on 8 March at 2:00 CST (tz database).
    with pytest.raises(DataError, match=r"line 9.*skip"):
        read_times(["2026-03-08T02:30"], [9], "f.csv", zone="America/Chicago")


def test_abbreviations_beside_a_time_and_offsets_are_read():
    assert (
        read_time("2026-05-16 06:00 CDT")
        == read_time("2026-05-16T11:00Z")
        == read_time("2026-05-16T06:00-05:00")
    )
    assert read_time("2026-05-16T06:00", "America/Chicago") == read_time("2026-05-16T06:00-05:00")
    for text, words in (("soon", "write it as"), ("2026-05-16T06:00", "names no zone")):
        with pytest.raises(UsageError, match=words):
            read_time(text)


def test_hours_are_chosen_with_both_ends():
    found = forecast("time,wind_from,wind_mph,gust_mph", *HOURS)
    assert len(found.between(read_time("2026-05-16T11:30Z"), None).time) == 1
    assert len(found.between(read_time("2026-05-16T11:00Z"), read_time("2026-05-16T12:00Z")).time) == 2
    with pytest.raises(UsageError, match="it runs from 2026-05-16T06:00"):
        found.between(read_time("2026-05-17T00:00Z"), None)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"time": ()}, "0 hours"),
        ({"time": (dt.datetime(2026, 5, 16, 6),)}, "without a zone"),  # noqa: DTZ001  # the fault that is tested
        ({"wind_mps": [1.0, 2.0]}, "values of wind_mps"),
        ({"wind_mps": [-1.0]}, "0 to 100"),
        ({"wind_mps": [np.nan]}, "0 to 100"),
        ({"gust_mps": [900.0]}, "gusts"),
        ({"wind_from_deg": [np.inf]}, "no bearing"),
    ],
)
def test_a_forecast_made_by_hand_is_held_to_the_same_limits(change, words):
    given = {
        "time": (dt.datetime(2026, 5, 16, 6, tzinfo=dt.UTC),),
        "wind_mps": [5.0],
        "gust_mps": [np.nan],
        "wind_from_deg": [200.0],
        **change,
    }
    with pytest.raises(DataError, match=words):
        Forecast(**given)
