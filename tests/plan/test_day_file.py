"""The day file: every key is known, every quantity has a unit, names are relative to its folder."""

import datetime as dt

import pytest

from castshed.toolbox.errors import CastshedError, DataError, FileMissing, LayerMissing, UnitError, UsageError
from castshed.toolbox.layers import write_layers
from castshed.toolbox.plan.day_chain import wind_of
from castshed.toolbox.plan.day_file import Boat, key_of, read_day
from castshed.toolbox.plan.day_run import steps_of_day

GOOD = """
title = "A made day"
date = 2026-05-16
zone = "America/Chicago"
units = "US"
[lake]
file = "lake.gpkg"
[level]
today = "-4ft"
[boat]
draft = "14in"
run_speed = "30mph"
[angler]
cast = "70ft"
[wind]
from = "SW"
speed = "12mph"
[spots]
sources = ["lake.gpkg:spots"]
[run]
start = "South ramp"
at_most = 5
at_each = "25min"
depart = "06:00"
"""


@pytest.fixture
def folder(tmp_path, lake):
    layers = {k: getattr(lake, k) for k in ("shoreline", "depth", "ramps", "zones", "known_hazards", "spots")}
    write_layers(tmp_path / "lake.gpkg", layers)
    return tmp_path


def day(folder, text):
    path = folder / "day.toml"
    path.write_text(text, encoding="utf-8")
    return read_day(path)


def test_a_day_file_is_read_in_si_units(folder):
    made = day(folder, GOOD)
    assert made.level_m == pytest.approx(-1.2192)  # four feet, international foot
    assert made.boat.draft_m == pytest.approx(0.3556)
    assert made.boat.run_speed_mps == pytest.approx(13.4112)
    assert made.wind.wind_from_deg == 225.0
    assert made.run.at_each_s == 1500.0
    assert made.date == dt.date(2026, 5, 16)
    assert made.layers.depth is not None
    assert made.layers.contours is None
    assert len(made.spots) == 1


def test_what_is_not_said_has_the_default(folder):
    assert day(folder, GOOD).boat.margin_m == Boat().margin_m


def test_level_from_two_elevations(folder):
    text = GOOD.replace('today = "-4ft"', 'pool = "641.6ft"\nnormal_pool = "650.0ft"')
    assert day(folder, text).level_m == pytest.approx(-8.4 * 0.3048)  # worked: 641.6 - 650.0 = -8.4 ft


def test_keys_are_fields_without_their_unit():
    assert [key_of(n) for n in ("draft_m", "from_deg", "at_each_s", "start")] == [
        "draft",
        "from",
        "at_each",
        "start",
    ]


@pytest.mark.parametrize(
    ("old", "new", "error", "says"),
    [
        ('draft = "14in"', 'draught = "14in"', UsageError, "no key 'draught'. Did you mean draft"),
        ("[boat]", "[bote]", UsageError, "no key 'bote'. Did you mean boat"),
        ('draft = "14in"', "draft = 14", UsageError, "number without a unit"),
        ('draft = "14in"', 'draft = "14"', UnitError, "boat.draft: '14' has no unit"),
        ('draft = "14in"', 'draft = "14mph"', UnitError, "is a speed, not a length"),
        ('draft = "14in"', 'draft = "-14in"', UsageError, "at least"),
        ('draft = "14in"', "draft = { deep = 1 }", UsageError, "number without a unit|is a table"),
        ('today = "-4ft"', "", UsageError, r'needs today = "-4ft"'),
        ('today = "-4ft"', 'today = "-4ft"\npool = "640ft"', UsageError, "gives today and an elevation"),
        ("date = 2026-05-16", "", UsageError, "needs date"),
        ("date = 2026-05-16", 'date = "tomorrow"', UsageError, "write it as 2026-05-16"),
        ("America/Chicago", "Middle/Earth", UsageError, "IANA"),
        ('units = "US"', 'units = "cubits"', UsageError, "choose US or metric"),
        ('file = "lake.gpkg"', "", UsageError, r"\[lake\] needs file"),
        ('file = "lake.gpkg"', 'file = "gone.gpkg"', FileMissing, "gone.gpkg is not there"),
        (
            'file = "lake.gpkg"',
            'file = "lake.gpkg"\nzones = "zonez"',
            LayerMissing,
            "no layer 'zonez'; it has",
        ),
        ('sources = ["lake.gpkg:spots"]', "", UsageError, "needs sources"),
        ('sources = ["lake.gpkg:spots"]', 'sources = ["gone.csv"]', DataError, "gone.csv"),
        ("[level]", "[level", UsageError, "not a day file in TOML"),
        ("at_most = 5", "at_most = 2.5", UsageError, "whole number"),
        ("at_most = 5", "at_most = -1", UsageError, "at least"),
    ],
)
def test_a_slip_is_refused_with_the_remedy(folder, old, new, error, says):
    assert old in GOOD
    with pytest.raises(error, match=says):
        day(folder, GOOD.replace(old, new))


def test_a_file_that_is_no_day_file_is_refused(folder):
    with pytest.raises(FileMissing, match="castshed demo"):
        read_day(folder / "gone.toml")
    with pytest.raises(UsageError, match="is a folder"):
        read_day(folder)
    (folder / "bytes.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(UsageError, match="UTF-8"):
        read_day(folder / "bytes.toml")


def test_every_refusal_is_a_situation_of_ours(folder):
    for line in GOOD.splitlines():
        if "=" in line:
            key = line.split("=")[0]
            for value in ("nan", "[]", "{}", '""', "1979-05-27", "-1", "true"):
                try:
                    day(folder, GOOD.replace(line, f"{key} = {value}"))
                except CastshedError:
                    continue


RAMP_LIST = "Ramp,Latitude,Longitude,Low Water Elevation (ft)\nSouth ramp,{lat},{lon},708\n"
FORECAST_LIST = "When,Blow,Side\n2026-05-16T05:00-05:00,8 to 12,SW\n2026-05-16T18:00-05:00,8 to 12,SW\n"


def test_ramps_of_a_list_and_columns_of_a_forecast_are_named_in_the_day_file(folder, lake):
    import pyproj

    point = lake.ramps.geometry.iloc[0]
    lon, lat = pyproj.Transformer.from_crs(lake.crs, 4326, always_xy=True).transform(point.x, point.y)
    (folder / "ramps.csv").write_text(
        RAMP_LIST.format(lat=round(lat, 7), lon=round(lon, 7)), encoding="utf-8"
    )
    (folder / "wind.csv").write_text(FORECAST_LIST, encoding="utf-8")
    text = GOOD.replace('file = "lake.gpkg"', 'file = "lake.gpkg"\nramps = "ramps.csv"')
    text = text.replace(
        'today = "-4ft"', 'pool = "708ft"\nnormal_pool = "712ft"\ndatum = "X"\nnormal_datum = "X"'
    )
    text = text.replace(
        'from = "SW"\nspeed = "12mph"',
        'forecast = "wind.csv"\ncolumns = ["time=When", "wind=Blow", "wind_from=Side"]\nspeed_units = ["wind=mph"]',
    )
    made = day(folder, text)
    assert list(made.layers.ramps.ramp_id) == ["south-ramp"]
    assert made.layers.ramps.min_level_m.iloc[0] == pytest.approx(-4 * 0.3048)
    assert made.layers.ramps.geometry.iloc[0].distance(point) < 0.1
    assert wind_of(made)["columns"] == ("time=When", "wind=Blow", "wind_from=Side")
    assert wind_of(made)["speed_units"] == ("wind=mph",)
    steps = steps_of_day(made, str(folder / "day.toml"))
    assert "ramps.csv" in steps
    assert "lake.gpkg:ramps.csv" not in steps


def test_columns_without_a_forecast_are_refused(folder):
    with pytest.raises(UsageError, match="belong to a forecast"):
        day(folder, GOOD.replace('from = "SW"', 'from = "SW"\ncolumns = ["wind=Blow"]'))
