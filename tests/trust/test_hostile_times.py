"""Zones and clock times that are none, or are two: read in one place, refused or told."""

from __future__ import annotations

import datetime as dt
import zoneinfo

import pytest

from castshed.toolbox.dates_and_times import in_zone, on_day, zone_named
from castshed.toolbox.errors import DataError, DataWarning, UsageError
from castshed.toolbox.intake.series.series_times import read_time, read_times
from castshed.toolbox.intake.series.series_times import zone_of as table_zone
from castshed.toolbox.plan.day_file import read_day
from castshed.toolbox.water.light.sun import zone_of as sun_zone

CHICAGO = "America/Chicago"
# Clocks went on at 2:00 on 8 March 2026 and go back at 2:00 on 1 November 2026 (15 U.S.C. 260a: second Sunday of
# March, first Sunday of November); central time is 6 h behind UTC, 5 h in summer (15 U.S.C. 261).
ON, BACK = dt.date(2026, 3, 8), dt.date(2026, 11, 1)

BAD_ZONES = [
    "America", "A" * 300, "America/" + "x" * 300, "/etc/localtime", "../../etc/passwd", "America/../America/Chicago",
    "America/Chicago\x00", "", " ", "America/Chicago ", "Nowhere/Atall", "tzdata.zi", "é/ü", "a" * 5000, "\udce9",
]  # fmt: skip


@pytest.mark.parametrize("zone", BAD_ZONES)
def test_what_is_no_zone_is_a_usage_error_everywhere(zone, tmp_path):
    for find in (zone_named, sun_zone, table_zone):
        if find is table_zone and not zone:
            continue  # no zone is named there
        with pytest.raises(UsageError, match="IANA") as told:
            find(zone)
        assert len(str(told.value)) < 250
    if zone.isprintable():
        day = tmp_path / "day.toml"
        day.write_text(f'date = 2026-05-16\nzone = "{zone}"\n', encoding="utf-8")
        with pytest.raises(UsageError, match="IANA"):
            read_day(day)


def test_every_zone_of_the_database_is_taken():
    names = zoneinfo.available_timezones() - {"localtime"}
    assert len(names) > 300
    assert [n for n in sorted(names) if zone_named(n).key != n] == []


class TestTheHourThatIsNot:
    def test_the_two_times_beside_it_are_named(self):
        for read in (
            lambda: on_day(ON, "02:30", CHICAGO, "run.depart"),
            lambda: read_time("2026-03-08T02:30", CHICAGO),
        ):
            with pytest.raises(UsageError, match="01:30 or 03:30"):
                read()

    def test_in_a_table_with_its_line(self):
        with pytest.raises(DataError, match=r"levels\.csv line 7.*01:30 or 03:30"):
            read_times(["2026-03-08T01:00", "2026-03-08T02:30"], [6, 7], "levels.csv", zone=CHICAGO)

    def test_the_minutes_beside_it_are_taken(self):
        assert on_day(ON, "01:59", CHICAGO, "x") == "2026-03-08T01:59:00-06:00"
        assert on_day(ON, "03:00", CHICAGO, "x") == "2026-03-08T03:00:00-05:00"

    def test_a_gap_of_half_an_hour(self):
        # Lord Howe Island: half an hour, at 2:00 on the first Sunday of October (its zone in the IANA database).
        with pytest.raises(UsageError, match="01:45 or 02:45"):
            on_day(dt.date(2026, 10, 4), "02:15", "Australia/Lord_Howe", "x")


class TestTheHourThatComesTwice:
    def test_the_first_is_taken_and_said(self):
        with pytest.warns(DataWarning, match=r"twice.*2026-11-01T01:30-05:00"):
            assert on_day(BACK, "01:30", CHICAGO, "run.depart") == "2026-11-01T01:30:00-05:00"

    def test_in_a_table_the_rows_go_on(self):
        clocks = [
            "2026-11-01T00:30",
            "2026-11-01T01:00",
            "2026-11-01T01:30",
            "2026-11-01T01:00",
            "2026-11-01T01:30",
        ]
        times, _ = read_times(clocks, range(1, 6), "f.csv", zone=CHICAGO)
        steps = [(b - a).total_seconds() / 60 for a, b in zip(times, times[1:], strict=False)]
        assert steps == [30, 30, 30, 30]

    def test_one_before_it_and_one_after_say_nothing(self):
        zone = zone_named(CHICAGO)
        for hour, offset in ((0, -5), (2, -6)):
            found = in_zone(dt.datetime(2026, 11, 1, hour, 30), zone, "x")  # noqa: DTZ001  # a clock's time
            assert found.utcoffset() == dt.timedelta(hours=offset)


def test_the_end_of_the_day_is_told_by_the_clock_of_then():
    # 15:00 in the evening of that day is 5 h behind UTC though the boat left while it was 6.
    assert on_day(ON, "00:30", CHICAGO, "x").endswith("-06:00")
    assert on_day(ON, "15:00", CHICAGO, "x").endswith("-05:00")


@pytest.mark.parametrize("text", ["25:00", "noon", "6", "2026-05-16", "2026-05-16T06:00", "1e400", "x" * 500])
def test_what_is_no_time_is_refused(text):
    with pytest.raises(UsageError, match="write the time"):
        on_day(ON, text, CHICAGO, "run.depart")
