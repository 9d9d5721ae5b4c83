"""The chain of a day stands in one place: what plan hands over in memory and what the steps file says are the same."""

import shutil
import tomllib
from dataclasses import fields
from pathlib import Path

import geopandas as gpd
import pytest
import shapely

from castshed.algorithms.wind_exposure import wind_exposure
from castshed.toolbox.errors import UsageError
from castshed.toolbox.plan import day_chain
from castshed.toolbox.plan.day_chain import MadeBy, OfDay, chain_of, wind_of
from castshed.toolbox.plan.day_file import read_day
from castshed.toolbox.plan.day_run import DayRun, steps_of_day
from castshed.toolbox.steps.steps_file import Made, steps_of

DEMO = Path(__file__).parents[2] / "demo_layers"
HOURLY = (
    ("# forecast =", "forecast ="),
    ('from = "SW"', ""),
    ('speed = "12mph"', ""),
    ("# back_by =", "back_by ="),
)
CALM = (('from = "SW"', ""), ('speed = "12mph"', ""))
DRAWN = (
    ('file = "reservoir.gpkg"', 'file = "reservoir.gpkg"\ndepth = ""\ndepth_confidence = ""\ncell = "20m"'),
)
DAYS = {"one wind": (), "by the hour": HOURLY, "no wind": CALM, "from contours": DRAWN}


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    home = tmp_path_factory.mktemp("days")
    shutil.copytree(
        DEMO, home, ignore=shutil.ignore_patterns("*.py", "__pycache__", ".castshed"), dirs_exist_ok=True
    )
    return home


def day_of(home, changes):
    text = (home / "day.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    file = home / "changed.toml"
    file.write_text(text, encoding="utf-8")
    return read_day(file), str(file)


def as_written(given, day):
    """An input of the chain as the steps file names it: a layer of a step, or files and layers of the day's folder."""
    if isinstance(given, MadeBy):
        return [(given.step, given.layer)]
    if given.name == "sources":
        return list(day.lists.sources)
    if given.name == "forecast":
        return [day.wind.forecast]
    return [f"{day.lake.file}:{getattr(day.lake, given.name)}"]


@pytest.mark.parametrize("kind", DAYS)
def test_the_steps_file_says_what_plan_hands_over(home, monkeypatch, kind):
    monkeypatch.chdir(home)
    day, file = day_of(home, DAYS[kind])
    chain = chain_of(day)
    written = {step.name: step for step in steps_of(tomllib.loads(steps_of_day(day, file)), home)}
    assert list(written) == list(chain)
    assert ("bottom" in chain) == (kind == "from contours")
    assert ("holds_in_wind" in chain) == (kind != "no wind")
    brought = {one.name for one in fields(day.layers) if getattr(day.layers, one.name) is not None}
    for name, step in chain.items():
        spec = written[name].spec
        assert spec.name == step.run
        there = {
            key: given
            for key, given in step.given.items()
            if isinstance(given, MadeBy)
            or (isinstance(given, OfDay) and given.name in brought | {"sources", "forecast"})
        }
        said = {
            key: [(one.step, one.layer) if isinstance(one, Made) else Path(str(one)).name for one in given]
            for key, given in written[name].inputs.items()
        }
        assert said == {key: as_written(given, day) for key, given in there.items()}
        for par in spec.parameters:
            if not par.is_input:
                given = step.given.get(par.name)
                meant = par.default if given is None else given
                assert written[name].values.get(par.name, par.default) == meant, (name, par.name)


def test_every_layer_of_the_day_goes_to_each_algorithm_that_asks_for_it_by_that_name(home):
    """What boat-hold and shortest-run leave out on purpose is named; anything else that is left out is a slip."""
    day, _ = day_of(home, ())
    left_out = {("held", "water"), ("held", "ramps"), ("reach", "depth"), ("judged", "zones")}
    from castshed.toolbox.algorithm.catalogue import load

    for name, step in chain_of(day).items():
        for par in load(step.run).parameters:
            if par.name in {
                "water",
                "ramps",
                "depth",
                "zones",
                "hazards",
                "known_hazards",
                "depth_confidence",
            }:
                assert (par.name in step.given) or (name, par.name) in left_out, (name, par.name)


def test_what_the_day_brings_is_handed_over_as_it_is(home):
    day, _ = day_of(home, ())
    run = DayRun(day)
    given = run.arguments("today")
    assert given["depth"] is day.layers.depth
    assert given["shoreline"] is day.layers.shoreline
    assert given["level_m"] == pytest.approx(-4 * 0.3048)
    assert run.arguments("book")["sources"] is day.spots


def test_a_stated_depth_error_goes_with_the_depth_to_every_step(home):
    day, _ = day_of(home, (("[level]", 'depth_error = "3ft"\n[level]'),))
    run = DayRun(day)
    assert run.layer("today", "depth").error_m == pytest.approx(3 * 0.3048)
    assert run.layer("judged", "depth") is run.layer("held", "depth")


def test_a_change_of_the_chain_is_a_change_of_both(home, monkeypatch):
    day, file = day_of(home, ())
    monkeypatch.setattr(day_chain, "drift_m", lambda boat: 7.25)
    assert chain_of(day)["held"].given["drift_m"] == 7.25
    assert DayRun(day).steps["held"].given["drift_m"] == 7.25
    assert tomllib.loads(steps_of_day(day, file))["held"]["drift"] == "7.25m"


@pytest.mark.parametrize("kind", ["one wind", "by the hour"])
def test_a_wind_told_over_land_blows_a_fifth_stronger_over_the_water(home, kind):
    # For fetches below 16 km: Shore Protection Manual (US Army CERC 1984), chapter 3, R_L = 1.2.
    lake = shapely.box(0.0, 0.0, 3000.0, 2000.0)
    waters = gpd.GeoDataFrame({"water_id": ["w"]}, geometry=[lake], crs=32615)
    holds = gpd.GeoDataFrame({"spot_id": ["a"]}, geometry=[shapely.Point(1500.0, 900.0)], crs=32615)

    def blown(changes):
        day, _ = day_of(home, changes)
        told = dict(wind_of(day))
        if "forecast" in told:
            told["forecast"] = day.forecast
        found = wind_exposure(holds, waters, **told)
        return found.exposure if kind == "by the hour" else found.places

    usual = DAYS[kind]
    land = (*usual, ("[wind]", '[wind]\nover = "land"'))
    water = (*usual, ("[wind]", '[wind]\nover = "water"'))
    (over_land, over_water, untold) = (blown(changes) for changes in (land, water, usual))
    assert (untold["wind_mps"] == over_water["wind_mps"]).all()
    assert over_land["wind_mps"].to_numpy() == pytest.approx(
        1.2 * over_water["wind_mps"].to_numpy(), rel=1e-9
    )
    assert (over_land["wave_m"].to_numpy() > over_water["wave_m"].to_numpy()).all()
    with pytest.raises(UsageError, match="over"):
        day_of(home, (*usual, ("[wind]", '[wind]\nover = "sea"')))
