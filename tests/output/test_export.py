"""The export algorithm: which files it makes, from Python and from the command line."""

from __future__ import annotations

import json
import subprocess
import sys
import warnings
import xml.etree.ElementTree as ET

import pyogrio
import pytest

from castshed.algorithms.export import FORMATS, export
from castshed.toolbox.errors import ContractError, CrsError, DataError, DataWarning, UsageError
from castshed.toolbox.output.cautions import CAUTIONS
from castshed.toolbox.testing import check_algorithm

GPX = "{http://www.topografix.com/GPX/1/1}"
PARTS = ("holds", "spots", "ramps", "stops", "legs", "cast_lines")


@pytest.fixture
def parts(plan):
    return {name: plan[name] for name in PARTS}


@pytest.fixture
def lake(parts, tmp_path):
    path = tmp_path / "lake.gpkg"
    for name, layer in parts.items():
        pyogrio.write_dataframe(layer, path, layer=name, append=path.exists())
    return path


def run(*arguments):
    return subprocess.run(
        [sys.executable, "-m", "castshed.toolbox.cli", "export", *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
    )


def test_it_keeps_the_contract_of_the_toolbox(parts):
    check_algorithm(export, parts, level_m=-1.2192)


def test_all_formats_are_written_unless_told(parts):
    assert list(export(parts)) == ["run.gpx", "plan.kml", "plan.geojson"]


@pytest.mark.parametrize("word", FORMATS)
def test_one_format_can_be_chosen(parts, word):
    assert list(export(parts, formats=[word])) == [FORMATS[word][0]]


def test_a_format_named_twice_is_written_once(parts):
    assert list(export(parts, formats=["kml", "kml"])) == ["plan.kml"]


def test_every_file_carries_every_caution(parts):
    for content in export(parts).values():
        assert not [caution for caution in CAUTIONS if caution not in content.decode()]


def test_title_level_and_date_reach_every_file(parts):
    for content in export(parts, title="Friday", level_m=-1.2192, date="2031-05-03").values():
        assert "Friday" in content.decode()
        assert "level -4.0 ft (-1.22 m) from chart datum on 2031-05-03" in content.decode()


def test_level_corrects_the_depth_of_spots_that_have_only_a_charted_one(parts):
    spots = parts["spots"].drop(columns=["depth_today_m"]).assign(depth_m=3.048)
    said = export({"spots": spots}, formats=["gpx"], level_m=-1.2192)["run.gpx"].decode()
    assert "Bottom 6.0 ft (1.8 m) down today." in said  # 10 ft less 4 ft


def test_an_unknown_format_is_refused_with_the_list(parts):
    with pytest.raises(UsageError, match="choose one of: gpx, kml, geojson"):
        export(parts, formats=["svg"])


def test_no_format_is_refused(parts):
    with pytest.raises(UsageError, match="No format"):
        export(parts, formats=[])


def test_no_layer_is_refused():
    with pytest.raises(UsageError, match="No layer"):
        export({})


def test_degrees_are_refused(parts):
    with pytest.raises((CrsError, ContractError), match="metres"):
        export({"spots": parts["spots"].to_crs(4326)})


def test_something_that_is_no_layer_is_refused():
    with pytest.raises(DataError, match="must be a GeoDataFrame"):
        export({"spots": [1, 2]})


def test_areas_are_named_as_left_out_of_gpx(plan):
    with pytest.warns(DataWarning, match="left out 3 of zones"):
        export({"zones": plan["zones"]}, formats=["gpx"])


def test_empty_layers_make_empty_files(parts):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        files = export({name: layer.iloc[:0] for name, layer in parts.items()})
    assert json.loads(files["plan.geojson"])["features"] == []
    assert list(ET.fromstring(files["run.gpx"]).iter(GPX + "wpt")) == []


def test_the_command_writes_what_the_function_gives(lake, parts, tmp_path):
    done = run(lake, "--level", "-4ft", "--out", tmp_path / "out", "--json")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["algorithm"] == "export"
    wanted = export(parts, level_m=-1.2192)
    assert {path.name for path in (tmp_path / "out").iterdir()} == set(wanted)
    ours, theirs = (
        json.loads(wanted["plan.geojson"]),
        json.loads((tmp_path / "out" / "plan.geojson").read_bytes()),
    )
    assert [f["id"] for f in theirs["features"]] == [f["id"] for f in ours["features"]]


def test_the_command_takes_several_layers_and_formats(lake, tmp_path):
    done = run(
        f"{lake}:holds", f"{lake}:spots", "--formats", "gpx", "--formats", "kml", "--out", tmp_path / "out"
    )
    assert done.returncode == 0, done.stderr
    assert {path.name for path in (tmp_path / "out").iterdir()} == {"run.gpx", "plan.kml"}


def test_the_command_refuses_to_write_over_a_file(lake, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "run.gpx").write_text("mine")
    done = run(f"{lake}:holds", "--out", tmp_path / "out")
    assert done.returncode == 4
    assert "--replace" in done.stderr
    assert (tmp_path / "out" / "run.gpx").read_text() == "mine"
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["run.gpx"]


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["--formats", "svg"], 2, "gpx, kml, geojson"),
        (["--level", "-4"], 2, "unit"),
        (["--level", "-4stone"], 2, "ft"),
    ],
)
def test_the_command_says_what_is_wrong_and_writes_nothing(lake, tmp_path, arguments, code, words):
    done = run(f"{lake}:holds", *arguments, "--out", tmp_path / "out")
    assert done.returncode == code
    assert words in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "out").exists()


def test_a_missing_layer_is_refused_with_the_layers_there(lake, tmp_path):
    done = run(f"{lake}:hold", "--out", tmp_path / "out")
    assert done.returncode == 3
    assert "holds" in done.stderr
    assert not (tmp_path / "out").exists()
