"""Daylight: almanac values, the day that a sun library mixes up, and places where the sun stays up or down."""

import datetime as dt
import zoneinfo

import pyproj
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from almanac import sun_by_almanac
from castshed.toolbox.errors import UsageError
from castshed.toolbox.water.light.sun import darkness, middle_of, sun_at, sun_times, zone_of
from long_tests import as_many

UTC = dt.UTC
LONDON = (51.5, -0.1333)
CHICAGO = zoneinfo.ZoneInfo("America/Chicago")
LAKE = (40.1, -92.3)


def near(found, text, day):
    expected = dt.datetime.fromisoformat(f"{day}T{text}:00+00:00")
    return abs(found - expected) <= dt.timedelta(seconds=60)


def test_london_on_a_winter_day():
    # Public almanac values for 51.5 N 0.1333 W, 2015-12-01, in the tests of the package astral (read).
    times = sun_times(dt.date(2015, 12, 1), UTC, *LONDON)
    for found, text in zip(times, ("07:04", "07:43", "11:49", "15:55", "16:34"), strict=True):
        assert near(found, text, "2015-12-01")


def test_london_in_another_zone_is_the_same_instant():
    there = sun_times(dt.date(2015, 12, 1), zoneinfo.ZoneInfo("Asia/Tokyo"), *LONDON)
    # Noon in London on that date is 20:49 in Tokyo, so it is the same sun; dusk falls on Tokyo's next day.
    assert near(there.noon, "11:49", "2015-12-01")
    assert near(there.dusk, "16:34", "2015-12-01")
    assert there.dusk.date() == dt.date(2015, 12, 2)


def test_a_utc_day_west_of_greenwich_does_not_bring_back_the_evening_before():
    import astral
    import astral.sun

    day, place = dt.date(2026, 6, 20), (45.0, -110.0)
    # The trap itself: asked for a UTC date, the library's dusk comes before its dawn.
    raw = astral.sun.sun(astral.Observer(*place), day, tzinfo=UTC)
    assert raw["dusk"] < raw["dawn"]
    times = sun_times(day, UTC, *place)
    assert list(times) == sorted(times)
    assert times.noon.date() == day
    assert times.dusk.date() == day + dt.timedelta(days=1)


@settings(max_examples=as_many(150), deadline=None)
@given(
    st.dates(dt.date(2000, 1, 1), dt.date(2049, 12, 31)),
    st.floats(-60.0, 60.0),
    st.floats(-180.0, 180.0),
    st.integers(-12, 14),
)
@example(
    dt.date(2001, 12, 26), 0.0, -60.0, 8
)  # noon of the 25th 6 s before midnight, the next one on the 27th
@example(dt.date(2000, 3, 9), 17.0, 18.25, -5)  # sunrise at 23:59 of the evening before
def test_dawn_rise_noon_set_dusk_come_in_that_order_within_a_day(day, latitude, longitude, hours):
    zone = dt.timezone(dt.timedelta(hours=hours))
    times = sun_times(day, zone, latitude, longitude)
    known = [t for t in times if t is not None]
    assert known == sorted(known)
    # Of noons a solar day apart, at most 30 s over 24 hours, one lies within half of it of the middle of the day.
    midday = dt.datetime.combine(day, dt.time(12), tzinfo=zone)
    assert abs(times.noon - midday) <= dt.timedelta(hours=12, seconds=16)
    assert times.rise is not None  # the sun rises and sets every day between the polar circles
    assert times.set is not None
    assert known[-1] - known[0] < dt.timedelta(days=1)


def test_the_height_of_the_sun_agrees_with_other_formulas():
    for month in range(1, 13):
        times = sun_times(dt.date(2026, month, 15), CHICAGO, *LAKE)
        for moment in (times.dawn, times.dusk):
            assert sun_by_almanac(moment, *LAKE)[1] == pytest.approx(-6.0, abs=0.15)
            assert sun_at(moment, *LAKE).height_deg == pytest.approx(-6.0, abs=0.15)
        for moment in (times.rise, times.noon, times.set):
            bearing, height = sun_by_almanac(moment, *LAKE)
            assert sun_at(moment, *LAKE).height_deg == pytest.approx(height, abs=0.03)
            assert sun_at(moment, *LAKE).bearing_deg == pytest.approx(bearing, abs=0.1)


def chicago(text):
    return dt.datetime.fromisoformat(f"2026-05-16T{text}:00-05:00")


@pytest.mark.parametrize(
    ("start", "end", "starts"),
    [
        ("04:00", "05:00", "dark until civil dawn at 05:"),
        ("05:00", "06:00", "dark until civil dawn at 05:"),
        ("06:00", "07:00", ""),
        ("12:00", "13:00", ""),
        ("20:00", "21:00", "dark from civil dusk at 20:"),
        ("22:00", "23:00", "dark until civil dawn at 05:"),
    ],
)
def test_an_hour_counts_as_light_when_all_of_it_is(start, end, starts):
    said = darkness(chicago(start), chicago(end), CHICAGO, *LAKE)
    assert said.startswith(starts)
    assert bool(said) == bool(starts)


def test_the_zone_of_the_words_does_not_change_what_is_dark():
    tokyo, utc = zoneinfo.ZoneInfo("Asia/Tokyo"), UTC
    for hour in range(23):
        start, end = chicago(f"{hour:02d}:00"), chicago(f"{hour + 1:02d}:00")
        dark = [bool(darkness(start, end, zone, *LAKE)) for zone in (CHICAGO, utc, tokyo)]
        assert len(set(dark)) == 1


def test_where_the_sun_does_not_set_and_where_it_does_not_rise():
    zone, place = zoneinfo.ZoneInfo("Europe/Helsinki"), (69.0, 27.5)
    summer = sun_times(dt.date(2026, 6, 21), zone, *place)
    assert summer.set is None
    assert summer.dusk is None
    midnight = dt.datetime(2026, 6, 21, 0, tzinfo=zone)
    assert darkness(midnight, midnight + dt.timedelta(hours=1), zone, *place) == ""
    far_north = (82.0, 27.5)
    noon = dt.datetime(2026, 12, 21, 12, tzinfo=zone)
    assert darkness(noon, noon + dt.timedelta(hours=1), zone, *far_north) == "dark"


def test_a_night_that_is_short_of_dark_is_light():
    # 59 N at midsummer: the sun sets, but stays above 6 degrees below the horizon around midnight at some latitudes.
    zone, place = zoneinfo.ZoneInfo("Europe/Stockholm"), (61.5, 17.0)
    times = sun_times(dt.date(2026, 6, 21), zone, *place)
    assert times.set is not None
    assert times.dusk is None
    midnight = dt.datetime(2026, 6, 21, 0, 30, tzinfo=zone)
    assert darkness(midnight, midnight + dt.timedelta(hours=1), zone, *place) == ""


def test_the_middle_of_a_lake_in_degrees():
    # The central meridian of UTM zone 15 is 93 W; on it easting is 500 km (definition of UTM).
    latitude, longitude = middle_of((499_000, 4_000_000, 501_000, 4_002_000), pyproj.CRS("EPSG:32615"))
    assert longitude == pytest.approx(-93.0, abs=1e-6)
    assert 36.0 < latitude < 36.3


@pytest.mark.parametrize("name", ["Nowhere/Lake", "", "../etc", "UTC+25:00"])
def test_a_zone_nobody_knows_is_refused(name):
    with pytest.raises(UsageError, match="IANA"):
        zone_of(name)
