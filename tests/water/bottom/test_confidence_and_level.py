"""A confidence beside the depths is used, known hazards keep their own error, and the level travels with the layers."""

import warnings
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
import shapely

from algorithms.test_plan import DAY, made, save
from castshed.algorithms.boat_hold import boat_hold
from castshed.algorithms.fishable import fishable
from castshed.algorithms.shallow_hazards import shallow_hazards
from castshed.algorithms.water_today import water_today
from castshed.toolbox.command.outputs import write_folder
from castshed.toolbox.depth import LOCAL_ERROR
from castshed.toolbox.errors import DataError
from castshed.toolbox.layers import read_layer, write_layers
from castshed.toolbox.layers.geopackage import read_lineage
from castshed.toolbox.lineage import LEVEL, level_in_lineage
from castshed.toolbox.plan.day_file import read_day
from castshed.toolbox.plan.day_run import steps_of_day


def unsure(lake, metres):
    return replace(lake.depth, depth_m=np.full(lake.depth.shape, metres, "f4"), quantity=LOCAL_ERROR)


def planned(folder, text=DAY):
    result = made(folder, text)
    return result.layers["plan.gpkg"]


def area(hazards):
    return hazards[hazards["care"] == "run"].union_all().area


def test_the_confidence_beside_the_depths_widens_the_hazards_of_a_plan(tmp_path, lake):
    save(tmp_path, lake)
    before = area(planned(tmp_path)["shallow_hazards"])
    write_layers(tmp_path / "lake.gpkg", {"depth_confidence": unsure(lake, 1.1)})
    after = area(planned(tmp_path)["shallow_hazards"])
    # 1 m more on a bank of 1:20 is a strip 20 m wide along 4 km of shore (geometry), a little less at the corners.
    assert 60_000 < after - before < 110_000


def test_another_name_of_the_confidence_stands_in_the_day_file(tmp_path, lake):
    save(tmp_path, lake)
    write_layers(tmp_path / "lake.gpkg", {"how_sure": unsure(lake, 1.1)})
    text = DAY.replace("[lake]", '[lake]\ndepth_confidence = "how_sure"')
    (tmp_path / "day.toml").write_text(text, encoding="utf-8")
    day = read_day(tmp_path / "day.toml")
    assert np.nanmax(day.layers.depth_confidence.depth_m) == pytest.approx(1.1)
    steps = steps_of_day(day, str(tmp_path / "day.toml"))
    assert steps.count("how_sure") == 5  # hazards, holds, verdicts, run and proof


def test_a_hold_has_water_enough_even_where_the_depths_are_unsure(lake):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        sure = boat_hold(lake.spots, lake.depth).holds
        doubtful = boat_hold(lake.spots, lake.depth, depth_confidence=unsure(lake, 3.1)).holds
    was = sure.set_index("spot_id")["margin_m"]
    now = doubtful.set_index("spot_id")["margin_m"].dropna()
    assert len(now) < len(was.dropna()) or (now < was[now.index] - 1.0).all()
    assert (now >= 0).all()


def test_a_verdict_that_the_doubt_could_turn_is_marginal(lake):
    water = water_today(lake.depth, lake.shoreline).water
    spots = lake.spots.iloc[1:3].assign(depth_m=np.nan, height_m=0.0)
    told = [
        fishable(spots, water, depth=lake.depth, depth_confidence=doubt).judged
        for doubt in (None, unsure(lake, 5.0))
    ]
    assert told[0]["marginal"].sum() == 0
    assert (told[1]["marginal"] == 1).all()


def test_a_rock_pile_keeps_its_own_position_error_in_a_plan(tmp_path, lake):
    rock = gpd.GeoDataFrame(
        {"kind": ["rock_pile"], "top_depth_m": [0.5], "radius_m": [6.0]},
        geometry=[shapely.Point(500_520.0, 4_000_500.0)],
        crs=lake.crs,
    )
    save(tmp_path, lake, known_hazards=rock)
    hazards = planned(tmp_path)["shallow_hazards"]
    drawn = hazards[hazards["reason"].str.startswith("rock pile")].geometry.iloc[0]
    # 6 m, and 8 m of the GPS SPS performance standard of 2020; the boat's fix of 3 m is another thing.
    assert shapely.minimum_bounding_radius(drawn) == pytest.approx(14.0, abs=0.1)


def test_a_rock_pile_that_tells_its_own_position_error_is_held_to_it(lake):
    rock = lake.known_hazards.assign(kind="rock_pile", radius_m=6.0, position_error_m=2.0)
    water = water_today(lake.depth, lake.shoreline).water
    hazards = shallow_hazards(lake.depth, water, known_hazards=rock)
    drawn = hazards[hazards["reason"].str.startswith("rock pile")].geometry.iloc[0]
    assert shapely.minimum_bounding_radius(drawn) == pytest.approx(8.0, abs=0.1)


def test_a_level_left_out_is_that_of_the_water(lake):
    water = water_today(lake.depth, lake.shoreline, level_m=-1.2192).water
    left_out = shallow_hazards(lake.depth, water)
    given = shallow_hazards(lake.depth, water, level_m=-1.2192)
    assert left_out.drop(columns="geometry").equals(given.drop(columns="geometry"))
    assert left_out.attrs[LEVEL] == -1.2192


def test_another_level_than_that_of_the_water_stops_naming_both(lake):
    water = water_today(lake.depth, lake.shoreline, level_m=-1.2192).water
    with pytest.raises(DataError, match=r"(?s)0 m \(0 ft\).*-1\.219 m \(-4 ft\)"):
        shallow_hazards(lake.depth, water, level_m=0.0)


def test_the_level_is_in_the_file_and_comes_back(tmp_path, lake):
    today = water_today(lake.depth, lake.shoreline, level_m=-1.2192)
    write_layers(tmp_path / "my.gpkg", {"water": today.water, "spots": lake.spots}, lineage="{}")
    back = read_layer(tmp_path / "my.gpkg:water")
    assert back.attrs[LEVEL] == -1.2192
    assert LEVEL not in read_layer(tmp_path / "my.gpkg:spots").attrs
    with pytest.raises(DataError, match="made at a level"):
        shallow_hazards(lake.depth, back, level_m=0.6096)


def test_a_plan_stores_its_level(tmp_path, lake):
    save(tmp_path, lake)
    write_folder(tmp_path / "out", made(tmp_path), replace=False, lineage="{}")
    for name in ("water", "shallow_hazards", "legs", "stops", "holds"):
        told = read_lineage(tmp_path / "out" / "plan.gpkg", name)
        assert level_in_lineage(told) == pytest.approx(-0.3048)


def test_a_plan_on_a_coverage_of_elevations_stops(tmp_path, lake):
    save(tmp_path, lake, depth=lake.depth.with_depth(200.0 - lake.depth.depth_m))
    with pytest.raises(DataError, match="holds elevations"):
        made(tmp_path)


def test_a_plan_tells_least_median_and_greatest_depth(tmp_path, lake):
    save(tmp_path, lake)
    assert any("greatest 32.8 ft (10.0 m)" in line for line in made(tmp_path).said)
