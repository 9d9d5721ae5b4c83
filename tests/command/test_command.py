"""The command line: what goes to stdout and stderr, exit codes, and that nothing is written when something is wrong."""

import json
import os

import geopandas as gpd
import pytest
import shapely

import in_process
from castshed.toolbox.layers import list_layers, write_layers

PLUGIN = '''
"""Circles."""
from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.errors import NothingFishable
from castshed.toolbox.parameters import Bearing, CastReach, Length, Level, Spots, YesNo, Zones

@algorithm(step="hold", example="castshed spot-circles demo_layers/reservoir.gpkg:spots --out my.gpkg")
def spot_circles(
    spots: Spots,
    *,
    radius_m: Length = 20.0,
    level_m: Level = 0.0,
    wind_from_deg: Bearing | None = None,
    zones: Zones | None = None,
    crash: YesNo = False,
) -> CastReach:
    """Draw a circle round each spot.

    Parameters
    ----------
    spots
        Places to circle.
    radius_m
        Radius of each circle [not a cast].
    level_m
        Today's level.
    wind_from_deg
        Where the wind comes from.
    zones
        Zones to keep out of.
    crash
        Fail as a fault of our own.
    """
    if crash:
        raise RuntimeError("boom")
    if spots.empty:
        raise NothingFishable("There is no spot.")
    out = spots[["spot_id", "geometry"]].copy()
    out["geometry"] = spots.buffer(radius_m + level_m)
    out["status"] = "ok"
    out["reason"] = f"wind {wind_from_deg} zones {None if zones is None else len(zones)}"
    out["area_m2"] = out.area
    return out
'''


@pytest.fixture
def place(tmp_path):
    (tmp_path / "algorithms").mkdir()
    (tmp_path / "algorithms" / "circles.py").write_text(PLUGIN)
    spots = gpd.GeoDataFrame(
        {"spot_id": ["a", "b"]}, geometry=[shapely.Point(5e5, 4e6), shapely.Point(5e5 + 9, 4e6)], crs=32615
    )
    zones = gpd.GeoDataFrame({"zone": ["slow"]}, geometry=[shapely.box(0, 0, 9, 9)], crs=32615)
    write_layers(
        tmp_path / "lake.gpkg",
        {"spots": spots, "zones": zones, "none": spots.iloc[:0], "deg": spots.to_crs(4326)},
    )
    return tmp_path


def run(place, *arguments, **environment):
    env = {
        **os.environ,
        "CASTSHED_ALGORITHMS": str(place / "algorithms"),
        "COLUMNS": "200",
        "NO_COLOR": "1",
        **environment,
    }
    return in_process.castshed(*arguments, cwd=place, env=env)


def test_json_is_one_object_on_stdout_and_nothing_else(place):
    done = run(
        place,
        "spot-circles",
        "lake.gpkg:spots",
        "--radius",
        "30ft",
        "--wind-from",
        "SW",
        "--zones",
        "lake.gpkg:zones",
        "--out",
        "new.gpkg:circles",
        "--json",
    )
    assert done.returncode == 0, done.stderr
    body = json.loads(done.stdout)
    assert body["algorithm"] == "spot-circles"
    assert body["out"] == "new.gpkg:circles"
    assert body["features"] == {"circles": 2}
    assert done.stderr == ""
    made = gpd.read_file(place / "new.gpkg", layer="circles")
    assert made["reason"].iloc[0] == "wind 225.0 zones 1"


def test_quiet_says_nothing(place):
    done = run(place, "spot-circles", "lake.gpkg", "--out", "new.gpkg", "--quiet")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert list(list_layers(place / "new.gpkg")) == ["cast_reach"]


def test_a_negative_quantity_needs_no_quoting(place):
    done = run(place, "spot-circles", "lake.gpkg:spots", "--level", "-4ft", "--out", "new.gpkg", "--json")
    assert done.returncode == 0, done.stderr


def test_degrees_are_taken_when_a_system_is_named(place):
    done = run(place, "spot-circles", "lake.gpkg:deg", "--crs", "EPSG:32615", "--out", "new.gpkg", "--json")
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (["lake.gpkg:spots", "--radius", "30"], 2, "--radius: '30' has no unit"),
        (["lake.gpkg:spots", "--radius", "30mph"], 2, "is a speed, not a length"),
        (["lake.gpkg:spots", "--radius", "-3ft"], 2, "at least 0 m"),
        (["lake.gpkg:spots", "--wind-from", "up"], 2, "is not a bearing"),
        (["lake.gpkg:spots", "--circle"], 2, "No such option"),
        (["lake.gpkg:spots", "extra"], 2, "extra"),
        (["gone.gpkg:spots"], 3, "gone.gpkg is not there"),
        (["lake.gpkg:spost"], 3, "no layer 'spost'; it has: spots"),
        (["lake.gpkg:zones"], 3, "no column spot_id"),
        (["lake.gpkg:deg"], 3, "is in degrees"),
        (["lake.gpkg:none"], 5, "There is no spot"),
        (["lake.gpkg:spots", "--crash"], 1, "a fault in castshed itself (RuntimeError: boom)"),
        (["lake.gpkg:spots", "--crs", "EPSG:0"], 2, "no coordinate reference system"),
    ],
)
def test_a_fault_has_its_exit_code_says_what_to_do_and_writes_nothing(place, arguments, code, says):
    done = run(place, "spot-circles", *arguments, "--out", "new.gpkg:circles")
    assert done.returncode == code, done.stderr
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert not (place / "new.gpkg").exists()


def test_an_existing_output_is_refused_before_any_work(place):
    before = (place / "lake.gpkg").read_bytes()
    done = run(place, "spot-circles", "lake.gpkg:spots", "--crash", "--out", "lake.gpkg:zones")
    assert done.returncode == 4
    assert "add --replace" in done.stderr
    assert (place / "lake.gpkg").read_bytes() == before
    done = run(place, "spot-circles", "lake.gpkg:spots", "--out", "lake.gpkg:zones", "--replace")
    assert done.returncode == 0
    assert list_layers(place / "lake.gpkg").keys() == {"spots", "none", "deg", "zones"}


def test_help_shows_units_defaults_and_the_example(place):
    done = run(place, "spot-circles", "--help")
    assert done.returncode == 0
    text = " ".join(done.stdout.split())
    assert "20 m (65.6 ft)" in text
    assert "[not a cast]" in text
    assert "Example: castshed spot-circles demo_layers/reservoir.gpkg:spots --out my.gpkg" in text


def test_a_mistyped_command_suggests_one(place):
    done = run(place, "spot-circle")
    assert done.returncode == 2
    assert "Did you mean 'spot-circles'" in done.stderr


def test_the_list_shows_a_broken_algorithm_with_its_reason(place):
    (place / "algorithms" / "broken.py").write_text("x = (\n")
    done = run(place, "--help")
    assert done.returncode == 0
    assert "broken" in done.stdout
    assert "SyntaxError" in done.stdout
    assert run(place, "broken", "--out", "x.gpkg").returncode == 1


def test_the_lineage_says_what_made_a_layer(place):
    from castshed.toolbox.layers.geopackage import read_lineage

    run(place, "spot-circles", "lake.gpkg:spots", "--level", "-4ft", "--out", "new.gpkg")
    body = json.loads(read_lineage(place / "new.gpkg", "cast_reach"))
    assert body["made_by"] == "castshed spot-circles"
    assert body["inputs"] == {"spots": "lake.gpkg:spots"}
    assert body["parameters"]["level_m"] == pytest.approx(-1.2192)
    assert any("not for navigation" in line for line in body["cautions"])


def test_a_folder_named_on_the_command_line_counts_like_one_in_the_environment(place):
    listed = run(place, "--algorithms", "algorithms", "--help", CASTSHED_ALGORITHMS="")
    assert "spot-circles" in listed.stdout
    assert "spot-circles" not in run(place, "--help", CASTSHED_ALGORITHMS="").stdout
    made = run(
        place,
        "--algorithms",
        "algorithms",
        "spot-circles",
        "lake.gpkg",
        "-o",
        "n.gpkg",
        CASTSHED_ALGORITHMS="",
    )
    assert made.returncode == 0, made.stderr
    twice = run(place, "--algorithms", "algorithms", "spot-circles", "lake.gpkg", "-o", "m.gpkg")
    assert twice.returncode == 0, twice.stderr
    gone = run(place, "--algorithms", "nowhere", "--help")
    assert (gone.returncode, "not a folder" in gone.stderr) == (2, True)


@pytest.mark.parametrize("columns", ["20", "40", "79", "200"])
def test_the_first_page_fits_any_terminal(place, columns):
    done = run(place, "--help", COLUMNS=columns)
    assert done.returncode == 0
    assert "\x1b" not in done.stdout
    lines = done.stdout.splitlines()
    assert max(map(len, lines)) <= int(columns)
    assert not any(line != line.rstrip() for line in lines)
    assert "Draw a circle round each spot." in " ".join(done.stdout.split())
    assert "Where the boat sits" in lines
