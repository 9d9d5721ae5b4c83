"""Levels as dam operators and agencies hand them out: date and time apart, US dates, WaterML 2.0, features."""

import datetime as dt
import json

import pytest

from castshed.toolbox.errors import CastshedError, DataError, UsageError
from castshed.toolbox.intake.series.level_table import to_levels
from castshed.toolbox.intake.series.series_file import read_series
from castshed.toolbox.intake.series.series_times import iso_texts

FOOT = 0.3048
CDT = dt.timezone(dt.timedelta(hours=-5))
CST = dt.timezone(dt.timedelta(hours=-6))


def read(tmp_path, text, **options):
    path = tmp_path / "levels.txt"
    path.write_text(text if isinstance(text, str) else json.dumps(text), encoding="utf-8")
    return to_levels(read_series(path, "levels"), **options)


@pytest.mark.parametrize(
    ("text", "iso"),
    [
        ("5/16/2026 6:00 AM", "2026-05-16T06:00:00"),
        ("5/16/26 18:00", "2026-05-16T18:00:00"),
        ("05/16/2026 12:30 am", "2026-05-16T00:30:00"),
        ("05/16/2026 12:30 PM", "2026-05-16T12:30:00"),
        ("05/16/2026 2400", "2026-05-17T00:00:00"),
        ("05/31/2026 24:00", "2026-06-01T00:00:00"),
        ("16May2026 0600", "2026-05-16T06:00:00"),
        ("16-May-2026 06:00", "2026-05-16T06:00:00"),
        ("May 16, 2026 6 PM", "2026-05-16T18:00:00"),
        ("Sat, 16 May 2026 06:00", "2026-05-16T06:00:00"),
        ("20260516 0600", "2026-05-16T06:00:00"),
        ("20260516", "2026-05-16"),
        ("2026/05/16 06:00", "2026-05-16T06:00:00"),
        ("16.05.2026 06:00", "2026-05-16T06:00:00"),
        ("05/16/2026 06:00 CDT", "2026-05-16T06:00:00 CDT"),
        ("05/16/2026 6:00 AM (CDT)", "2026-05-16T06:00:00 CDT"),
        ("05/16/2026 06:00 -05:00", "2026-05-16T06:00:00-05:00"),
        ("13/13/2026 06:00", "13/13/2026 06:00"),
        ("05/16/2026 25:00", "05/16/2026 25:00"),
        ("2/30/2026", "2/30/2026"),
        ("noon", "noon"),
    ],
)
def test_dates_as_tables_write_them(text, iso):
    assert iso_texts([text], "table") == [iso]


def test_one_number_above_twelve_tells_for_all():
    assert iso_texts(["5/6/2026", "5/16/2026"], "table")[0] == "2026-05-06"
    assert iso_texts(["6/5/2026", "16/5/2026"], "table")[0] == "2026-05-06"


def test_hours_in_a_row_tell_which_is_the_month():
    hours = [f"5/{day}/2026 {hour}:00" for day in (6, 7, 8) for hour in range(0, 24, 6)]
    assert iso_texts(hours, "table")[0] == "2026-05-06T00:00:00"
    turned = [f"{day}/5/2026 {hour}:00" for day in (6, 7, 8) for hour in range(0, 24, 6)]
    assert iso_texts(turned, "table")[0] == "2026-05-06T00:00:00"


def test_days_that_may_be_months_are_asked_for():
    with pytest.raises(UsageError, match="dates=month-first or dates=day-first"):
        iso_texts(["5/6/2026", "5/7/2026"], "table")
    assert iso_texts(["5/6/2026"], "table", "day-first") == ["2026-06-05"]
    assert iso_texts(["5/6/2026"], "table", "month-first") == ["2026-05-06"]
    with pytest.raises(UsageError, match="month-first"):
        iso_texts(["5/6/2026"], "table", "backwards")


def test_a_dam_operators_table(tmp_path):
    found = read(
        tmp_path,
        "Invented Dam, daily operations\n"
        "Data are preliminary\n"
        "\n"
        "Date,Time (CST),Pool Elevation (ft NGVD29),Tailwater (ft),Total Outflow (cfs)\n"
        '05/15/2026,0600,"1,050.00",900.1,1200\n'
        '05/15/2026,2400,"1,051.00",900.2,1200\n'
        "05/16/2026,0600,M,900.2,1200\n",
        zone="UTC",
    )
    assert found.time == (dt.datetime(2026, 5, 15, 6, tzinfo=CST), dt.datetime(2026, 5, 16, 0, tzinfo=CST))
    assert list(found.elevation_m) == pytest.approx([1050 * FOOT, 1051 * FOOT])
    assert found.datum == "NGVD29"
    assert any("1 rows" in s or "1 row" in s for s in found.said)


def test_columns_and_the_order_of_dates_can_be_named(tmp_path):
    text = "Day;When;Lake (feet)\n6/5/2026;06:00;700\n"
    found = read(
        tmp_path,
        text,
        columns=["date=Day", "time=When", "elevation=Lake (feet)", "dates=day-first"],
        zone="UTC",
    )
    assert found.time == (dt.datetime(2026, 5, 6, 6, tzinfo=dt.UTC),)


def test_a_table_without_a_level_says_which_columns_it_saw(tmp_path):
    with pytest.raises(UsageError, match="known as elevation; it has Date, Time, Outflow"):
        read(tmp_path, "Date,Time,Outflow\n05/15/2026,0600,9\n", zone="UTC")


def test_a_row_without_its_date_is_told(tmp_path):
    with pytest.raises(DataError, match="line 3 has no date"):
        read(tmp_path, "Date,Time,Elev (ft)\n05/15/2026,0600,9\n,0700,9\n", zone="UTC")


WATERML = """<?xml version="1.0"?>
<wml2:Collection xmlns:wml2="http://www.opengis.net/waterml/2.0" xmlns:om="http://www.opengis.net/om/2.0"
 xmlns:xlink="http://www.w3.org/1999/xlink">
 {members}
</wml2:Collection>"""
MEMBER = """<wml2:observationMember><om:OM_Observation>
  <om:observedProperty xlink:href="http://example.invalid/p" xlink:title="{title}"/>
  <om:featureOfInterest xlink:href="http://example.invalid/s" xlink:title="Invented Lake"/>
  <om:result><wml2:MeasurementTimeseries>
   <wml2:defaultPointMetadata><wml2:DefaultTVPMeasurementMetadata><wml2:uom code="{unit}"/>
   </wml2:DefaultTVPMeasurementMetadata></wml2:defaultPointMetadata>
   <wml2:point><wml2:MeasurementTVP><wml2:time>2026-05-16T06:00:00-05:00</wml2:time><wml2:value>700.5</wml2:value>
   </wml2:MeasurementTVP></wml2:point>
   <wml2:point><wml2:MeasurementTVP><wml2:time>2026-05-16T07:00:00-05:00</wml2:time>
    <wml2:value xsi:nil="true" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"/></wml2:MeasurementTVP></wml2:point>
  </wml2:MeasurementTimeseries></om:result></om:OM_Observation></wml2:observationMember>"""
LEVEL = MEMBER.format(title="Elevation of reservoir water surface above NGVD 1929, ft", unit="ft")
STAGE = MEMBER.format(title="Gage height, ft", unit="ft")


def test_waterml_2(tmp_path):
    found = read(tmp_path, WATERML.format(members=STAGE + LEVEL))
    assert found.time == (dt.datetime(2026, 5, 16, 6, tzinfo=CDT),)
    assert list(found.elevation_m) == pytest.approx([700.5 * FOOT])
    assert found.datum == "NGVD29"
    assert any("no number" in s for s in found.said)


def test_a_gage_height_is_no_elevation(tmp_path):
    with pytest.raises(DataError, match=r"observes Gage height, ft.*zero of its own"):
        read(tmp_path, WATERML.format(members=STAGE))


def test_two_levels_are_asked_for(tmp_path):
    other = MEMBER.format(title="Lake elevation above NAVD 1988", unit="m")
    with pytest.raises(UsageError, match="Choose with parameter"):
        read(tmp_path, WATERML.format(members=LEVEL + other))
    found = read(tmp_path, WATERML.format(members=LEVEL + other), parameter="NAVD 1988")
    assert list(found.elevation_m) == [700.5]
    assert found.datum == "NAVD88"


def test_an_unknown_unit_is_refused(tmp_path):
    with pytest.raises(DataError, match="in furlong; pool levels are read in"):
        read(tmp_path, WATERML.format(members=MEMBER.format(title="Lake elevation", unit="furlong")))


@pytest.mark.parametrize(
    "text",
    [
        WATERML.format(members=""), WATERML.format(members=LEVEL)[:900], "<html>waterml/2.0</html>", "<a/>",
        '<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/passwd">]><a xmlns="http://www.opengis.net/waterml/2.0">&b;</a>',
        WATERML.format(members=MEMBER.format(title="Lake elevation", unit="")),
        WATERML.format(members=LEVEL.replace("2026-05-16T06", "someday")),
    ],
)  # fmt: skip
def test_hostile_markup_is_refused_in_words(tmp_path, text):
    with pytest.raises(CastshedError):
        read(tmp_path, text)


def feature(time, value, **more):
    return {
        "type": "Feature",
        "geometry": None,
        "properties": {"phenomenonTime": time, "result": value, **more},
    }


def test_features_of_an_agency_that_name_what_they_observe(tmp_path):
    same = {"observedProperty": "Lake level", "uom": "m", "station": "A", "verticalDatum": "NAVD88"}
    rows = [
        feature("2026-05-16T06:00:00Z", 213.4, **same),
        feature("2026-05-16T07:00:00Z", 213.5, **same),
        feature(
            "2026-05-16T07:00:00Z", 18.0, **{**same, "observedProperty": "Water temperature", "uom": "degC"}
        ),
    ]
    found = read(tmp_path, {"type": "FeatureCollection", "features": rows})
    assert list(found.elevation_m) == [213.4, 213.5]
    assert found.datum == "NAVD88"


def test_a_plain_list_of_levels(tmp_path):
    found = read(tmp_path, {"data": [{"timestamp": "2026-05-16T06:00:00Z", "pool_elevation_ft": 700.0}]})
    assert list(found.elevation_m) == pytest.approx([700.0 * FOOT])


def test_features_of_two_stations_are_told(tmp_path):
    rows = [
        feature("2026-05-16T06:00:00Z", 1.0, observedProperty="Lake level", uom="m", station=s) for s in "AB"
    ]
    with pytest.raises(UsageError, match="several gauges"):
        read(tmp_path, {"type": "FeatureCollection", "features": rows})
