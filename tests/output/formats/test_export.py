"""The export algorithm: which files it makes, from Python and from the command line."""

from __future__ import annotations

import json
import warnings
import xml.etree.ElementTree as ET
import zipfile
from fnmatch import fnmatchcase

import pyogrio
import pytest

import in_process
from castshed.algorithms.export import FORMATS, export
from castshed.toolbox.errors import ContractError, CrsError, DataError, DataWarning, UsageError
from castshed.toolbox.layers.geopackage import write_lineage
from castshed.toolbox.output.words.cautions import CAUTIONS
from castshed.toolbox.testing import check_algorithm

GPX = "{http://www.topografix.com/GPX/1/1}"
OPTIONS = [word for name in FORMATS if name != "tif" for word in ("--formats", name)]
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


def all_text(path):
    """All text of a file and of the files packed in it, line ends and marks of comments taken off."""
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as packed:
            text = "\n".join(packed.read(name).decode("utf-8", "replace") for name in packed.namelist())
    else:
        text = path.read_bytes().decode("utf-8", "replace")
    return text


def run(*arguments):
    return in_process.castshed("export", *arguments)


def test_it_keeps_the_contract_of_the_toolbox(parts):
    check_algorithm(export, parts, level_m=-1.2192)


def test_all_formats_are_written_unless_told(parts):
    assert list(export(parts)) == ["run.gpx", "plan.kml", "plan.geojson"]


@pytest.mark.parametrize("word", [word for word in FORMATS if word != "tif"])  # of a coverage, not of layers
def test_one_format_can_be_chosen(parts, word):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DataWarning)  # of a shapefile, that names are cut
        made = list(export(parts, formats=[word]))
    assert made
    assert all(any(fnmatchcase(name, allowed) for allowed in FORMATS[word]) for name in made)


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
    with pytest.raises(UsageError, match="choose one of: gpx, kml, kmz, geojson"):
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
        (["--formats", "svg"], 2, "gpx, kml, kmz, geojson"),
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


def test_no_name_is_longer_than_told_and_all_differ_over_all_files(plan_of):
    layers = {name: plan_of(30)[name] for name in PARTS}
    files = export(layers, formats=["gpx"], name_length=12, ascii=True, most_points=20, waypoints="all")
    roots = [ET.fromstring(content) for content in files.values()]
    names = [e.findtext(GPX + "name") for root in roots for e in root.iter(GPX + "wpt")]
    assert len(names) == sum(len(layers[name]) for name in ("holds", "spots", "ramps"))
    assert len({name.casefold() for name in names}) == len(names)
    everything = [e.text for root in roots for tag in ("wpt", "rtept", "trk") for p in root.iter(GPX + tag) for e in p.iter(GPX + "name")]  # fmt: skip
    assert max(map(len, everything)) <= 12
    assert all(name.isascii() for name in everything)


def test_a_limit_of_points_splits_into_files_that_hold_everything_once(plan_of, gpx_schema):
    layers = {name: plan_of(30)[name] for name in PARTS}
    whole = ET.fromstring(export(layers, formats=["gpx"])["run.gpx"])
    files = export(layers, formats=["gpx"], most_points=25)
    assert list(files) == [f"run-{n}-of-{len(files)}.gpx" for n in range(1, len(files) + 1)]
    roots = [ET.fromstring(content) for content in files.values()]
    for content in files.values():
        gpx_schema.validate(content.decode())
    places = lambda root, tag: [(e.get("lon"), e.get("lat")) for e in root.iter(GPX + tag)]  # noqa: E731 -- said once
    for root in roots:
        assert len(places(root, "wpt")) <= 25
        assert len(places(root, "rtept")) <= 25
    assert sorted(place for root in roots for place in places(root, "wpt")) == sorted(places(whole, "wpt"))
    route = []
    for part in (places(root, "rtept") for root in roots):
        if part:
            assert not route or route[-1] == part[0]  # the next file goes on where this one ended
            route += part[1:] if route else part
    assert route == places(whole, "rtept")
    assert sum(len(places(root, "trkpt")) for root in roots) == len(places(whole, "trkpt"))
    assert all(all(caution in content.decode() for caution in CAUTIONS) for content in files.values())


def test_a_limit_of_one_point_is_refused(parts):
    with pytest.raises(UsageError, match="2 or more"):
        export(parts, formats=["gpx"], most_points=1)


def test_gpx_has_symbols_only_from_the_users_own_table(parts, gpx_schema):
    assert b"<sym>" not in export(parts, formats=["gpx"])["run.gpx"]
    named = {"Hold": "Anchor", "conifer_brush": "Tree <1>", "hump": ""}
    told = export(parts, formats=["gpx"], symbols=named, waypoints="all")
    gpx_schema.validate(told["run.gpx"].decode())
    found = {
        (e.findtext(GPX + "type"), e.findtext(GPX + "sym"))
        for e in ET.fromstring(told["run.gpx"]).iter(GPX + "wpt")
    }
    assert {("hold", "Anchor"), ("conifer_brush", "Tree <1>"), ("hump", None)} <= found


def test_the_command_reads_a_table_of_symbols(lake, tmp_path):
    table = tmp_path / "symbols.csv"
    table.write_text("# what my set calls them\nkind,symbol\nhold,Anchor\nconifer brush,Tree\n")
    done = run(
        f"{lake}:holds", f"{lake}:spots", "--formats", "gpx", "--symbols", table, "--out", tmp_path / "out"
    )
    assert done.returncode == 0, done.stderr
    symbols = [e.text for e in ET.parse(tmp_path / "out" / "run.gpx").iter(GPX + "sym")]
    assert set(symbols) == {"Anchor", "Tree"}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("kind,mark\nhold,Anchor\n", "no column symbol"),
        ("kind,symbol\n,Anchor\n", "line 2 names no kind"),
        ("kind,symbol\nhold,Anchor\nHOLD,Flag\n", "line 3 gives HOLD a second symbol"),
        ("", "empty"),
        ('{"hold": "Anchor"}', "JSON"),
        ("kind,symbol\n", "no rows"),
    ],
)
def test_a_table_of_symbols_that_is_none_is_refused(lake, tmp_path, text, words):
    (tmp_path / "symbols.csv").write_text(text)
    done = run(f"{lake}:holds", "--symbols", tmp_path / "symbols.csv", "--out", tmp_path / "out")
    assert done.returncode == 3
    assert words in done.stderr
    assert not (tmp_path / "out").exists()


def test_tables_by_the_hour_are_no_way_points(parts):
    hours = parts["spots"][["spot_id", "geometry"]].assign(
        time="2031-05-03T09:00:00-05:00", fishable=1, reason="", margin_m=0.1, marginal=0
    )
    with pytest.warns(DataWarning, match="left out 6 of verdicts"):
        written = export({"verdicts": hours}, formats=["gpx"])["run.gpx"]
    assert b"<wpt" not in written


def test_marks_ashore_are_told_with_their_hold(parts):
    fixes = parts["holds"][["spot_id", "hold_no", "geometry"]].assign(
        status="ok", reason="", words="tower over the barn", ranges=1, error_m=9.144, crossing_deg=80.0
    )
    root = ET.fromstring(export({"holds": parts["holds"], "fixes": fixes}, formats=["gpx"])["run.gpx"])
    points = list(root.iter(GPX + "wpt"))
    assert len(points) == len(parts["holds"])
    assert all("Tower over the barn." in point.findtext(GPX + "desc") for point in points)


def test_what_made_a_layer_is_told_in_every_file_without_the_folders_of_its_files(lake, tmp_path):
    write_lineage(
        lake,
        ["holds"],
        json.dumps({"made_by": "castshed boat-hold", "version": "0.1", "time": "2031-05-02T20:00:00+00:00",
                    "inputs": {"spots": "/home/me/secret/lake.gpkg:spots"}, "parameters": {"level_m": -1.2192}}),
    )  # fmt: skip
    done = run(f"{lake}:holds", *OPTIONS, "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    for path in (tmp_path / "out").iterdir():
        if path.suffix == ".csv":
            continue  # no place for words beside the rows: they are in csv-metadata.json
        text = all_text(path)
        assert "Layer holds was made by castshed boat-hold 0.1 at 2031-05-02T20:00:00+00:00" in text, path
        assert "from spots lake.gpkg:spots with level_m -1.2192" in text, path
        assert "secret" not in text
