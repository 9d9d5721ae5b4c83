"""A day with some of its values changed: what is changed, what else goes with it, and what is never read twice."""

from __future__ import annotations

import datetime as dt

import pytest

from castshed.toolbox.errors import UsageError
from castshed.toolbox.layers import write_layers
from castshed.toolbox.plan import day_file
from castshed.toolbox.plan.day_changes import changed_day, changes_in_words, changes_of, wind_change
from castshed.toolbox.plan.day_file import read_day

DAY = """
date = 2026-05-16
zone = "America/Chicago"
[lake]
file = "lake.gpkg"
[level]
pool = "708ft"
normal_pool = "712ft"
error = "3in"
[boat]
draft = "14in"
[wind]
forecast = "forecast.csv"
[spots]
sources = ["lake.gpkg:spots"]
[run]
depart = "06:00"
"""
FORECAST = "time,wind_from_deg,wind_mps\n2026-05-16T06:00-05:00,225,5\n2026-05-16T12:00-05:00,225,6\n"


@pytest.fixture
def day(tmp_path, lake):
    layers = {k: getattr(lake, k) for k in ("shoreline", "depth", "ramps", "zones", "known_hazards", "spots")}
    write_layers(tmp_path / "lake.gpkg", layers)
    (tmp_path / "forecast.csv").write_text(FORECAST)
    (tmp_path / "day.toml").write_text(DAY)
    return read_day(tmp_path / "day.toml")


def changed(day, **given):
    return changed_day(day, changes_in_words(**given))


def test_a_level_takes_the_place_of_two_elevations_and_its_error_stays(day):
    assert day.level_m == pytest.approx(-4 * 0.3048)
    made = changed(day, level_m=-3.0)
    assert made.level_m == pytest.approx(-3.0)
    assert made.level.pool_m == pytest.approx(712 * 0.3048 - 3.0)  # beside the normal pool, which ramps may need
    assert made.level.level_error_m == pytest.approx(3 * 0.0254)
    back = changed(made, change=["level.pool=710ft", "level.normal_pool=712ft"])
    assert back.level_m == pytest.approx(-2 * 0.3048)


def test_a_wind_takes_the_place_of_a_forecast_and_none_of_both(day):
    assert day.forecast is not None
    made = changed(day, wind="NW 20mph")
    assert made.forecast is None
    assert made.wind.wind_from_deg == 315.0
    assert made.wind.wind_speed_mps == pytest.approx(20 * 0.44704)  # NIST SP 811, mile per hour
    calm = changed(made, wind="none")
    assert (calm.wind.wind_from_deg, calm.wind.wind_speed_mps, calm.forecast) == (None, None, None)
    assert changed(calm, wind="forecast.csv").forecast is not None


def test_every_section_and_the_top_can_be_changed(day):
    made = changed(
        day, boat=["draft=18in", "run_speed=25mph"], date="2026-05-17", back_by="13:00",
        change=["run.at_most=8", 'run.must=["s1", "s2"]', "fishing.least_depth=5ft", "units=metric", "angler.cast=20m"],
    )  # fmt: skip
    assert made.boat.draft_m == pytest.approx(18 * 0.0254)
    assert made.date == dt.date(2026, 5, 17)
    assert (made.run.back_by, made.run.depart, made.run.at_most) == ("13:00", "06:00", 8)
    assert list(made.run.must) == ["s1", "s2"]
    assert (made.units, made.angler.cast_m) == ("metric", 20.0)
    assert made.fishing.least_depth_m == pytest.approx(5 * 0.3048)


def test_what_is_read_is_not_read_again_and_the_day_stays_as_it_was(day, monkeypatch):
    monkeypatch.setattr(day_file, "_read_layers", None)
    before = day.boat
    made = changed(day, boat=["draft=18in"])
    assert made.layers is day.layers
    assert made.spots is day.spots
    assert day.boat is before
    assert day.stated["boat"] == {"draft": "14in"}


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"change": ["draft=18in"]}, "no key 'draft'"),
        ({"change": ["boot.draft=18in"]}, "no change of the day"),
        ({"change": ["boat.draft"]}, "no change of the day"),
        ({"change": ["boat.draught=18in"]}, "Did you mean draft"),
        ({"boat": ["run.at_most=3"]}, "boat: KEY=VALUE"),
        ({"boat": ["draft=18"]}, "without a unit"),
        ({"wind": "SW"}, "not understood"),
        ({"wind": "up 12mph"}, "wind.from"),
        ({"date": "soon"}, "write it as"),
        ({"change": ["level.today=-4ft", "level.pool=708ft"]}, "as well"),
    ],
)
def test_what_is_no_change_says_so(day, given, says):
    with pytest.raises(UsageError, match=says):
        changed(day, **given)


def test_texts_become_values_as_in_a_day_file():
    assert changes_of(["run.at_most=3", "run.night=true", "run.start=North ramp"]) == {
        "run": {"at_most": 3, "night": True, "start": "North ramp"}
    }
    assert wind_change("225deg 5 m/s") == {"from": "225deg", "speed": "5 m/s"}
