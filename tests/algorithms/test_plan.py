"""The whole job: on a made lake, on the demo lake's day file, on a real valley, and with every wrong input."""

import json
import subprocess
import warnings
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from scipy.spatial import cKDTree

from castshed.algorithms.boat_hold import boat_hold
from castshed.algorithms.depth_surface import depth_surface
from castshed.algorithms.fishable import fishable
from castshed.algorithms.plan import FILES, plan
from castshed.algorithms.shallow_hazards import shallow_hazards
from castshed.algorithms.shortest_run import shortest_run
from castshed.algorithms.water_today import water_today
from castshed.toolbox.command.outputs import write_folder
from castshed.toolbox.errors import CastshedError
from castshed.toolbox.layers import list_layers, write_layers
from castshed.toolbox.plan.day_file import read_day
from castshed.toolbox.water.proof.last_check import Limits, last_check
from made_lake import frame
from plan.test_day_file import GOOD
from valley import CRS, flooded_valley, seeded_spots, valley_shoreline

DAY = GOOD.replace("-4ft", "-1ft")


def save(folder, lake, **changes):
    names = ("shoreline", "depth", "ramps", "zones", "known_hazards", "spots")
    layers = {name: changes.get(name, getattr(lake, name)) for name in names}
    write_layers(folder / "lake.gpkg", {k: v for k, v in layers.items() if v is not None})


def made(folder, text=DAY):
    (folder / "day.toml").write_text(text, encoding="utf-8")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return plan(read_day(folder / "day.toml"))


def test_the_plan_has_every_file_and_every_spot_a_verdict(tmp_path, lake):
    save(tmp_path, lake)
    result = made(tmp_path)
    write_folder(tmp_path / "out", result, replace=False, lineage="{}")
    assert {p.name for p in (tmp_path / "out").iterdir()} == set(FILES)
    spots = gpd.read_file(tmp_path / "out" / "plan.gpkg", layer="spots")
    assert set(spots["spot_id"]) == set(lake.spots["spot_id"])
    assert (spots["reason"].str.len() > 0).all()
    body = json.loads(result.files["plan.json"])
    assert body["proof"]["violations"] == 0
    assert any("not for navigation" in line for line in body["cautions"])
    text = subprocess.run(
        ["ogrinfo", "-ro", str(tmp_path / "out" / "plan.gpkg")], capture_output=True, text=True, check=True
    ).stdout
    assert "legs" in text
    assert {"stops", "legs", "holds", "shallow_hazards"} <= set(list_layers(tmp_path / "out" / "plan.gpkg"))


@pytest.mark.long
def test_the_same_day_twice_is_the_same_plan(tmp_path, lake):
    save(tmp_path, lake)
    first, second = made(tmp_path), made(tmp_path)
    assert {k: v for k, v in first.files.items() if k != "map.png"} == {
        k: v for k, v in second.files.items() if k != "map.png"
    }


def test_a_plan_of_changed_values_is_that_of_a_day_file_that_states_them(tmp_path, lake):
    save(tmp_path, lake)
    text = (
        DAY.replace("-1ft", "-1.5ft")
        .replace('"SW"', '"N"')
        .replace('"12mph"', '"8mph"')
        .replace('"14in"', '"16in"')
    )
    assert text != DAY
    stated = made(tmp_path, text)
    (tmp_path / "day.toml").write_text(DAY, encoding="utf-8")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        day = read_day(tmp_path / "day.toml")
        changed = plan(day, level_m=-1.5 * 0.3048, wind="N 8mph", boat=["draft=16in"])
        plain = plan(day)
    for name, layer in stated.layers["plan.gpkg"].items():
        other = changed.layers["plan.gpkg"][name]
        same = (
            other.equals(layer)
            if hasattr(layer, "equals")
            else np.array_equal(other.depth_m, layer.depth_m, True)
        )
        assert same, name
    told = json.loads(changed.files["plan.json"])["notes"]
    assert any("boat.draft = 16in" in line and "Other than in day.toml" in line for line in told)
    assert not plain.layers["plan.gpkg"]["stops"].equals(stated.layers["plan.gpkg"]["stops"])
    assert (tmp_path / "day.toml").read_text(encoding="utf-8") == DAY


def test_six_feet_above_normal_a_plan_keeps_within_a_shoreline_beyond_which_no_land_is_known(tmp_path, lake):
    """The depths know no land; ground beyond the shoreline is flooded perhaps, but nobody may run there."""
    x, y = np.meshgrid(lake.depth.xs[::4], lake.depth.ys[::4])
    x, y = x.ravel(), y.ravel()
    read = lake.depth.at(x, y)
    soundings = frame(shapely.points(x, y)[read > 0], depth_m=read[read > 0])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        sounded = depth_surface(lake.shoreline, soundings=soundings, cell_m=10.0).depth
    save(tmp_path, lake, depth=sounded)
    layers = made(tmp_path, DAY.replace('"-1ft"', '"6ft"')).layers["plan.gpkg"]
    shore = lake.shoreline.geometry.union_all()
    assert layers["water"].geometry.union_all().difference(shore).area < 1.0
    assert (layers["legs"].geometry.distance(shore.exterior) > 5.0).all()
    assert layers["legs"].geometry.union_all().difference(shore).length < 1e-6


def moved(frame, geometry):
    return frame.set_geometry(geometry, crs=frame.crs)


@pytest.mark.parametrize(
    ("change", "text", "code", "says"),
    [
        (lambda k: {"ramps": k.ramps.iloc[:0]}, DAY, 3, "ramps is an empty layer"),
        (lambda k: {"ramps": None}, DAY, 3, "no layer ramps, and a run begins at one"),
        (lambda k: {"ramps": moved(k.ramps, k.ramps.geometry.translate(0, -900))}, DAY, 5, "dry ground"),
        (lambda k: {"ramps": k.ramps.assign(min_level_m=5.0)}, DAY, 5, "can't be used"),
        (lambda k: {}, DAY.replace("South ramp", "North ramp"), 2, "Choose one of: r1"),
        (
            lambda k: {},
            DAY.replace('today = "-1ft"', 'today = "-30ft"'),
            5,
            "fishable|dry|no water|No water|can't be used",
        ),
        (lambda k: {}, DAY.replace('draft = "14in"', 'draft = "90ft"'), 2, "running depth|draft"),
        (lambda k: {"shoreline": k.shoreline.to_crs(4326)}, DAY, 3, "degrees"),
        (lambda k: {"zones": k.zones.to_crs(32616)}, DAY, 3, "share one"),
        (lambda k: {"spots": k.spots.iloc[:0]}, DAY, 3, "no spot|empty|no row"),
        (lambda k: {"zones": k.zones.drop(columns="zone")}, DAY, 3, "no column zone"),
        (lambda k: {"spots": k.spots[k.spots["spot_id"] == "island"]}, DAY, 5, "fishable"),
    ],
)
def test_a_wrong_input_has_its_code_and_remedy(tmp_path, lake, change, text, code, says):
    save(tmp_path, lake, **change(lake))
    with pytest.raises(CastshedError, match=says) as caught:
        made(tmp_path, text)
    assert caught.value.exit_code == code


def test_water_that_is_not_connected_is_named_and_left_out(tmp_path, lake):
    from dataclasses import replace

    depth = lake.depth.depth_m.copy()
    wall = np.abs(lake.depth.xs - (500_000 + 480)) < 12.0
    depth[:, wall] = -1.0
    save(
        tmp_path,
        lake,
        depth=replace(lake.depth, depth_m=depth),
        ramps=moved(lake.ramps, lake.ramps.geometry.translate(30, 0)),
    )
    result = made(tmp_path)
    left = result.layers["plan.gpkg"]["left_out"]
    cut = left[left["spot_id"] == "west"]["reason"].iloc[0]
    assert cut.startswith("out of reach")
    assert "south" in set(result.layers["plan.gpkg"]["stops"]["spot_id"])


@pytest.mark.long
def test_the_chain_holds_on_a_real_valley_nobody_here_drew():
    """matplotlib's jacksboro grid flooded to 360 m, pool down 1.5 m, 40 spots by a seeded rule, a ramp at a steep bank.

    Ramps are built where the bank falls away (common practice); at a flat one falling water leaves only mud.
    """
    depth, shore, spots, level = flooded_valley(), valley_shoreline(), seeded_spots(40, 1), -1.5
    ring = np.asarray(shore.geometry.iloc[0].exterior.coords)
    row, column = np.nonzero(depth.depth_m > 6.0)
    steep = cKDTree(np.column_stack([depth.xs[column], depth.ys[row]])).query(ring)[0].argmin()
    ramps = gpd.GeoDataFrame(
        {"ramp_id": ["r"], "name": ["Valley ramp"], "min_level_m": [-5.0]},
        geometry=[shapely.Point(ring[steep])],
        crs=CRS,
    )
    today = water_today(depth, shore, level_m=level)
    hazards = shallow_hazards(depth, today.water, level_m=level)
    holds = boat_hold(spots, depth, level_m=level, drift_m=6.0, hazards=hazards).holds
    verdicts = fishable(spots, today.water, depth=depth, level_m=level, holds=holds).judged
    assert len(verdicts) == 40
    assert (verdicts["reason"].str.len() > 0).all()
    good = holds.merge(verdicts[["spot_id", "name", "rating", "fishable"]], on="spot_id")
    good = good[good["fishable"] == 1]
    run = shortest_run(
        good, ramps, today.water, hazards=hazards, depth=depth, level_m=level, launch_m=1000.0, at_most=25
    )
    assert len(run.stops) - 2 + len(run.left_out) == len(good)
    assert len(run.stops) > 10
    error = float(np.hypot(depth.error_m, 0.03048))
    limits = Limits(
        1.2192 + 3.0 + 6.096, 1.2192 + 3.0, 0.9144 + 0.3048 + error, 0.6096 + 0.3048 + error, 0.9, 1000.0
    )
    violations = last_check(
        run.legs,
        good[good["spot_id"].isin(run.stops["spot_id"])],
        depth=depth,
        level_m=level,
        water=today.water,
        start=run.stops.geometry.iloc[0],
        end=run.stops.geometry.iloc[-1],
        limits=limits,
        hazards=hazards,
        dry_ground=today.dry_ground,
    )
    assert violations == []
    shifted = run.legs.copy()
    shifted["geometry"] = shifted.geometry.translate(400.0, 300.0)  # the check must see a run that is off
    assert last_check(
        shifted, good.iloc[:0], depth=depth, level_m=level, water=today.water, start=run.stops.geometry.iloc[0],
        end=run.stops.geometry.iloc[-1], limits=limits, hazards=hazards, dry_ground=today.dry_ground,
    )  # fmt: skip


def test_the_demo_day_is_complete():
    home = Path(__file__).parents[2] / "demo_layers"
    lake = gpd.read_file(home / "reservoir.gpkg", layer="shoreline")
    assert lake.area.sum() >= 25e6
    assert len(lake.geometry.iloc[0].interiors) >= 3
    assert len(gpd.read_file(home / "reservoir.gpkg", layer="spots")) == 25
    assert len((home / "habitat_sites.csv").read_text(encoding="utf-8").splitlines()) > 150
    assert sum(p.stat().st_size for p in home.iterdir() if p.is_file()) < 15e6
    contours = gpd.read_file(home / "reservoir.gpkg", layer="contours")
    assert np.allclose(contours["depth_m"] / 1.524, np.round(contours["depth_m"] / 1.524))


def test_demo_writes_every_file_it_names():
    from castshed.algorithms.demo import FILES as NAMES
    from castshed.algorithms.demo import demo

    files = demo().files
    assert set(files) == set(NAMES)
    assert {"day.toml", "reservoir.gpkg"} <= set(files)


FORECAST = "time,wind_from_deg,wind_mph,gust_mph\n" + "".join(
    f"2026-05-16T{hour:02d}:00-05:00,225,{5 if hour < 11 else 40},{8 if hour < 11 else 50}\n"
    for hour in range(24)
)


def timed_day(tmp_path, **changes):
    (tmp_path / "wind.csv").write_text(FORECAST, encoding="utf-8")
    lines = [line for line in DAY.splitlines() if not line.startswith(("from", "speed ="))]
    wind = lines.index("[wind]") + 1
    lines.insert(wind, 'forecast = "wind.csv"')
    run = lines.index("[run]") + 1
    lines[run:run] = [f"{key} = {value}" for key, value in changes.items()]
    return "\n".join(line for line in lines if not line.startswith("zone")) + "\n"


def test_a_day_with_a_forecast_and_an_end_is_timed_and_judged_by_the_hour(tmp_path, lake):
    save(tmp_path, lake)
    text = 'zone = "America/Chicago"\n' + timed_day(tmp_path, back_by='"12:00"')
    layers = made(tmp_path, text).layers["plan.gpkg"]
    stops, verdicts = layers["stops"], layers["verdicts"]
    inner = stops.iloc[1:-1]
    assert len(inner) >= 2
    assert (inner["turn_back"] != "").all()
    # Forty miles an hour from eleven on is over the limit, so nothing is fished then, and the stops have calmer air.
    late = verdicts[verdicts["time"].str.contains("T1[1-9]:")]
    assert (late["fishable"] == 0).all()
    assert late["reason"].str.contains("wind").all()
    assert (inner["leave"].str[11:16] <= "11:00").all()
    assert (inner["wind_mps"] < 3.0).all()
    answers = dict(zip(layers["answers"]["question"], layers["answers"]["answer"], strict=True))
    assert "30 minutes less" in answers


def test_a_day_with_two_winds_or_an_end_without_a_start_is_refused(tmp_path, lake):
    save(tmp_path, lake)
    text = 'zone = "America/Chicago"\n' + timed_day(tmp_path, back_by='"12:00"')
    with pytest.raises(CastshedError, match="forecast and one wind"):
        made(tmp_path, text.replace('forecast = "wind.csv"', 'forecast = "wind.csv"\nfrom = "SW"'))
    with pytest.raises(CastshedError, match=r"without run\.depart"):
        made(tmp_path, "\n".join(line for line in text.splitlines() if not line.startswith("depart")))
