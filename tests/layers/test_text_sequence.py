"""Layers through a pipe against RFC 8142, RFC 7946 and OGC 21-045r1; two commands piped equal the same through a file."""

import io
import json
import os
import subprocess
import sys

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely

import in_process
from castshed.toolbox.errors import CrsError, DataError
from castshed.toolbox.layers import read_layer, write_layers
from castshed.toolbox.layers.text_sequence import read_sequence, write_sequence
from castshed.toolbox.testing import assert_layer_equal


def through(layers):
    stream = io.BytesIO()
    write_sequence(stream, layers)
    return stream.getvalue(), read_sequence(io.BytesIO(stream.getvalue()))


def made(crs, rows=200):
    rng = np.random.default_rng(7)
    return gpd.GeoDataFrame(
        {
            "spot_id": [f'Ufer {k} ä \x1f "' for k in range(rows)],
            "hold_no": np.arange(rows),
            "depth_m": np.where(rng.random(rows) < 0.2, np.nan, rng.normal(5, 3, rows)),
            "sure": rng.random(rows) < 0.5,
            "note": [None if k % 3 else "words" for k in range(rows)],
            "time": pd.date_range("2026-04-18T06:00", periods=rows, freq="min", tz="UTC"),
        },
        geometry=shapely.points(rng.uniform(3e5, 6e6, (rows, 2))),
        crs=crs,
    )


@pytest.mark.parametrize("crs", ["EPSG:32615", "EPSG:2193", "+proj=tmerc +lon_0=-93.25 +k=0.9999 +x_0=5e5"])
def test_every_number_and_place_comes_out_as_it_went_in(crs):
    frame = made(crs)
    _, back = through({"spots": frame})
    assert_layer_equal(back["spots"], frame)
    assert back["spots"].crs == pyproj.CRS(crs)
    assert [str(back["spots"][c].dtype) for c in ("hold_no", "depth_m", "sure")] == [
        "int64",
        "float64",
        "bool",
    ]


def test_lines_polygons_empty_and_missing_places(lake):
    frame = gpd.GeoDataFrame(
        {"n": [1, 2, 3, 4]},
        geometry=[lake.shoreline.geometry[0], shapely.LineString([(0, 0), (1, 2)]), shapely.Point(), None],
        crs=lake.crs,
    )
    _, back = through({"mixed": frame, "none": frame.iloc[:0]})
    assert_layer_equal(back["mixed"], frame)
    assert list(back["none"].columns) == ["n", "geometry"]
    assert back["none"].crs == frame.crs


def test_the_bytes_are_those_of_the_standards():
    data, _ = through({"spots": made("EPSG:32615", 3), "two": made("EPSG:32615", 1)})
    # RFC 8142, section 2: input-geotext = RS GEOJSON-text LF, RS = %x1E, LF = %x0A
    assert data.startswith(b"\x1e")
    assert data.endswith(b"\n")
    texts = [json.loads(t) for t in data.split(b"\x1e")[1:]]
    features = [t for t in texts if t["type"] == "Feature"]
    assert len(features) == 4
    for feature in features:
        # RFC 7946, section 3.2: a feature has the members type, geometry and properties
        assert {"type", "geometry", "properties"} <= set(feature)
        east, north = feature["geometry"]["coordinates"]
        assert -180 <= east <= 180  # section 4: longitude and latitude on WGS 84
        assert -90 <= north <= 90
        # OGC 21-045r1, section 7: featureType, coordRefSys as a URI, place in that system
        assert feature["coordRefSys"] == "http://www.opengis.net/def/crs/EPSG/0/32615"
        assert feature["featureType"] in ("spots", "two")
        there = pyproj.Transformer.from_crs(4326, 32615, always_xy=True).transform(east, north)
        assert np.hypot(*np.subtract(there, feature["place"]["coordinates"])) < 0.02


def test_a_place_follows_the_axes_of_its_system():
    frame = gpd.GeoDataFrame({"n": [1]}, geometry=[shapely.Point(1_576_000.25, 6_188_000.5)], crs=2193)
    data, back = through({"spots": frame})
    feature = json.loads(data.split(b"\x1e")[2])
    # EPSG:2193 writes northing before easting (EPSG coordinate system 4500)
    assert feature["place"]["coordinates"] == [6_188_000.5, 1_576_000.25]
    assert back["spots"].geometry[0] == frame.geometry[0]


def test_a_sequence_of_anybodys_is_read_in_degrees():
    data = b'\x1e{"type":"Feature","geometry":{"type":"Point","coordinates":[-93.1,35.2]},"properties":{"a":1}}\n\x1e\n'
    frame = read_sequence(io.BytesIO(data))["features"]
    assert frame.crs.to_epsg() == 4326
    assert (frame.geometry[0].x, frame.geometry[0].y, frame["a"][0]) == (-93.1, 35.2, 1)


PLACE = b'"geometry":null,"place":{"type":"Point","coordinates":[1,2]},"properties":{}}\n'


@pytest.mark.parametrize(
    ("data", "error"),
    [
        (b'{"type":"Feature"}', DataError),
        (b'\x1e{"type":"Feature", "geom', DataError),
        (b"\x1e[1]\n", DataError),
        (b"\x1e" + b"[" * 100_000, DataError),
        (b'\x1e{"type":"Feature","geometry":null,"properties":{"a":NaN}}', DataError),
        (b"\x1e\xff\xfe\n", DataError),
        (b'\x1e{"type":"Feature",' + PLACE, CrsError),
        (b'\x1e{"type":"Feature","coordRefSys":"EPSG:0",' + PLACE, CrsError),
        (b'\x1e{"type":"Feature","coordRefSys":["x"],' + PLACE, CrsError),
        (
            b'\x1e{"type":"Feature","coordRefSys":"EPSG:32615",' + PLACE
            + b'\x1e{"type":"Feature","coordRefSys":"EPSG:32616",' + PLACE,
            CrsError,
        ),
        (b'\x1e{"type":"FeatureCollection","features":3}', DataError),
        (b'\x1e{"type":"Feature","geometry":{"type":"Point","coordinates":["a"]},"properties":{}}', DataError),
        (
            (b'\x1e{"type":"FeatureCollection","features":[],"coordRefSys":"EPSG:32615","castshed":'
            b'{"layer":"features","columns":{"a":"whole"}}}\n\x1e{"type":"Feature","coordRefSys":"EPSG:32615",'
            b'"geometry":null,"place":null,"properties":{"a":"x"}}'),
            DataError,
        ),
    ],
)  # fmt: skip
def test_what_is_broken_is_refused_by_what_it_is(data, error):
    with pytest.raises(error, match=r"[sS]tandard input"):
        read_sequence(io.BytesIO(data))


CODE = "from castshed.toolbox.cli import main; main()"


def castshed(home, *arguments, given=None):
    env = {**os.environ, "NO_COLOR": "1", "COLUMNS": "200"}
    done = in_process.castshed(*arguments, cwd=home, env=env, given=given, text=False)
    return done.returncode, done.stdout, done.stderr.decode()


@pytest.fixture
def home(tmp_path, lake):
    write_layers(tmp_path / "lake.gpkg", {"depth": lake.depth, "spots": lake.spots, "ramps": lake.ramps})
    write_layers(tmp_path / "water.gpkg", {"shoreline": lake.shoreline})
    return tmp_path


def test_two_commands_piped_equal_the_same_through_a_file(home):
    first = ["water-today", "lake.gpkg:depth", "water.gpkg:shoreline"]
    code, data, says = castshed(home, *first, "--out", "-")
    assert code == 0, says
    second = ["shallow-hazards", "lake.gpkg:depth"]
    piped = castshed(home, *second, "-", "--out", "piped.gpkg", "--quiet", given=data)
    assert piped == (0, b"", "")
    assert castshed(home, *first, "--out", "file.gpkg", "--quiet")[0] == 0
    assert castshed(home, *second, "file.gpkg:water", "--out", "through.gpkg", "--quiet")[0] == 0
    assert_layer_equal(
        read_layer(home / "piped.gpkg", usual="shallow_hazards"),
        read_layer(home / "through.gpkg", usual="shallow_hazards"),
    )


def test_a_layer_of_the_pipe_is_named_after_a_colon(home):
    first = ["water-today", "lake.gpkg:depth", "water.gpkg:shoreline", "--out", "day.gpkg", "--quiet"]
    assert castshed(home, *first)[0] == 0
    both = b""
    for name, most in (("ring", "90ft"), ("near ring 輪", "60ft")):
        reach = ["cast-reach", "lake.gpkg:spots", "day.gpkg:water", "--most-cast", most, "--out"]
        code, data, says = castshed(home, *reach, f"-:{name}")
        assert code == 0, says
        assert list(read_sequence(io.BytesIO(data))) == [name]
        assert castshed(home, *reach, f"direct.gpkg:{name}", "--quiet")[0] == 0
        both += data
    for name in ("ring", "near ring 輪"):
        tables = ["write-tables", f"-:{name}", "--out", f"piped {name}"]
        assert castshed(home, *tables, given=both)[0] == 0
        assert castshed(home, "write-tables", f"direct.gpkg:{name}", "--out", f"file {name}")[0] == 0
        (one,), (two,) = (list((home / f"{way} {name}").glob("*.csv")) for way in ("piped", "file"))
        assert one.read_bytes() == two.read_bytes()


def test_several_inputs_take_their_layers_from_one_pipe(home):
    code, data, says = castshed(
        home, "water-today", "lake.gpkg:depth", "water.gpkg:shoreline", "--level", "-2ft", "--out", "-"
    )
    assert code == 0, says
    bands = ["write-tables", "-:water", "-:depth_bands", "--out", "tables"]
    code, _, says = castshed(home, *bands, given=data)
    assert code == 0, says
    assert {p.stem for p in (home / "tables").glob("*.csv")} == {"water", "depth_bands"}


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (
            ["cast-reach", "lake.gpkg:spots", "-:lake", "--out", "x.gpkg"],
            3,
            "has no layer 'lake'; it has: water",
        ),
        (["cast-reach", "lake.gpkg:spots", "-:", "--out", "x.gpkg"], 2, "names no layer after the colon"),
        (
            ["boat-hold", "lake.gpkg:spots", "-:depth", "--out", "x.gpkg"],
            2,
            "only layers come through a pipe",
        ),
        (["boat-hold", "lake.gpkg:spots", "lake.gpkg:depth", "--out", "-:here"], 2, "makes several layers"),
        (["depth-surface", "water.gpkg:shoreline", "--out", "-:depth"], 2, "only layers go through a pipe"),
        (["export", "-:water", "-", "--out", "x"], 2, "given already"),
    ],
)
def test_a_layer_that_the_pipe_has_not_is_told(home, arguments, code, says):
    _, data, _ = castshed(home, "water-today", "lake.gpkg:depth", "water.gpkg:shoreline", "--out", "-")
    got, out, err = castshed(home, *arguments, given=data)
    assert (got, out) == (code, b""), err
    assert says in " ".join(err.split())
    assert not (home / "x.gpkg").exists()


@pytest.mark.long
def test_three_commands_in_one_shell_line(home):
    python = f'"{sys.executable}" -c "{CODE}"'
    line = (
        f"{python} water-today lake.gpkg:depth water.gpkg:shoreline --out - "
        f"| {python} cast-reach lake.gpkg:spots - "
        f"| {python} export - --out shared"
    )
    done = subprocess.run(line, shell=True, cwd=home, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert any((home / "shared").iterdir())


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (["cast-reach", "lake.gpkg:spots", "-"], 3, "no GeoJSON text sequence"),
        (["boat-hold", "lake.gpkg:spots", "-", "--out", "x.gpkg"], 2, "only layers come through a pipe"),
        (["depth-surface", "water.gpkg:shoreline", "--out", "-"], 2, "only layers go through a pipe"),
        (
            ["cast-reach", "lake.gpkg:spots", "water.gpkg", "--json", "--out", "-"],
            2,
            "both want standard output",
        ),
        (["cast-reach", "lake.gpkg:spots", "water.gpkg"], 2, "Say where the result goes"),
    ],
)
def test_what_does_not_fit_a_pipe_is_refused_without_a_traceback(home, arguments, code, says):
    got, out, err = castshed(home, *arguments, given=b"no sequence")
    assert (got, out) == (code, b""), err
    assert says in " ".join(err.split())
    assert "Traceback" not in err


def test_a_reader_that_stops_early_harms_nothing(home):
    python = f'"{sys.executable}" -c "{CODE}"'
    line = f"{python} water-today lake.gpkg:depth water.gpkg:shoreline --out - | head -c 10"
    done = subprocess.run(line, shell=True, cwd=home, capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert "Traceback" not in done.stderr
    assert "Broken" not in done.stderr
