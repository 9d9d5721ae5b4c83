"""CSV, FlatGeobuf, shapefile, KMZ: read back by other programs, the same rows in the same places, cuts reported."""

from __future__ import annotations

import csv
import io
import json
import math
import re
import shutil
import subprocess
import warnings
import zipfile

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from castshed.toolbox.errors import DataWarning
from castshed.toolbox.output.formats.csv_table import METADATA, to_csv_files
from castshed.toolbox.output.formats.formats import Telling, write_files
from castshed.toolbox.output.formats.kml import to_kml
from castshed.toolbox.output.formats.shapefile_flatgeobuf import (
    short_columns,
    to_flatgeobuf_files,
    to_shapefile_sets,
)
from castshed.toolbox.output.formats.xml_zip_writing import file_stems, packed
from castshed.toolbox.output.words.cautions import CAUTIONS
from castshed.toolbox.output.words.names import NameRule

needs_ogrinfo = pytest.mark.skipif(shutil.which("ogrinfo") is None, reason="ogrinfo is not installed")


def quiet(writer, layers, **options):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DataWarning)
        return writer(layers, title="Day run", **options)


def ogrinfo(*arguments):
    return subprocess.run(["ogrinfo", "-ro", *arguments], check=True, capture_output=True, text=True).stdout


def counts(told):
    return [int(count) for count in re.findall(r"Feature Count: (\d+)", told)]


def degrees(geometries, crs):
    return shapely.get_coordinates(gpd.GeoSeries(geometries, crs=crs).to_crs(4326).to_numpy())


def rows_of(content):
    return list(csv.DictReader(io.StringIO(content.decode(), newline="")))


# CSV ------------------------------------------------------------------------------------------------------------


def test_csv_has_a_file_for_each_layer_with_every_row(plan):
    files = quiet(to_csv_files, plan)
    assert set(files) == {METADATA, *(f"plan-{name}.csv" for name in plan)}
    assert {name: len(rows_of(files[f"plan-{name}.csv"])) for name in plan} == {
        name: len(layer) for name, layer in plan.items()
    }


def test_csv_places_are_where_pyproj_puts_them(plan, lon_lat):
    files = quiet(to_csv_files, plan)
    for name in ("spots", "holds", "stops", "ramps"):
        rows = rows_of(files[f"plan-{name}.csv"])
        found = np.array([[float(row["lon"]), float(row["lat"])] for row in rows])
        wanted = np.vstack([lon_lat(point) for point in plan[name].geometry])
        assert np.abs(found - wanted).max() <= 0.5001e-7
        assert "wkt" not in rows[0]
    for name in ("legs", "cast_lines"):
        for row, line in zip(rows_of(files[f"plan-{name}.csv"]), plan[name].geometry, strict=True):
            found = shapely.get_coordinates(shapely.from_wkt(row["wkt"]))
            assert np.abs(found - lon_lat(line)).max() <= 0.5001e-7
            on_it = shapely.Point(float(row["lon"]), float(row["lat"]))
            assert shapely.from_wkt(row["wkt"]).distance(on_it) < 1e-7


def test_no_cell_or_header_of_csv_begins_a_formula(hostile_layers):
    layers = {name: layer.rename(columns={"note": "=2+3"}) for name, layer in hostile_layers.items()}
    layers["spots"]["name"] = ["=1+1", "+cmd", "-x", "@SUM(A1)", "\t=1", "＝1"] + ["x"] * (
        len(layers["spots"]) - 6
    )
    for name, content in quiet(to_csv_files, layers).items():
        if name != METADATA:
            for row in csv.reader(io.StringIO(content.decode(), newline="")):
                for cell in row:
                    # OWASP, CSV Injection: = + - @, tab and carriage return begin a formula; a number is none
                    plain_number = re.fullmatch(r"-?\d+(\.\d+)?(e-?\d+)?", cell)
                    assert plain_number or not re.match(r"\s*[=+\-@＝＋－＠]", cell), cell


def test_values_of_csv_come_back_as_they_were(plan):
    rows = pd.read_csv(io.BytesIO(quiet(to_csv_files, plan)["plan-holds.csv"]))
    for column in ("spot_id", "hold_no", "depth_today_m", "cast_m", "cast_bearing_deg"):
        assert rows[column].tolist() == plan["holds"][column].tolist()


def test_the_metadata_of_csv_names_every_table_and_column_and_all_cautions(plan):
    files = quiet(to_csv_files, plan, level_m=-1.2192, date="2031-05-03")
    told = json.loads(files[METADATA])
    assert told["@context"] == "http://www.w3.org/ns/csvw"
    assert all(caution in told["dc:description"] for caution in CAUTIONS)
    assert "level -4.0 ft" in told["dc:description"]
    for table in told["tables"]:
        header = next(csv.reader(io.StringIO(files[table["url"]].decode(), newline="")))
        assert [column["titles"] for column in table["tableSchema"]["columns"]] == header
        for column in table["tableSchema"]["columns"]:
            if column["datatype"] == "double":
                for row in rows_of(files[table["url"]]):
                    assert not row[column["titles"]] or math.isfinite(float(row[column["titles"]]))


@needs_ogrinfo
def test_ogrinfo_reads_every_row_and_place_of_csv(plan, tmp_path):
    for name, content in quiet(to_csv_files, plan).items():
        (tmp_path / name).write_bytes(content)
    for name, layer in plan.items():
        told = ogrinfo("-so", "-al", tmp_path / f"plan-{name}.csv", "-oo", "GEOM_POSSIBLE_NAMES=wkt")
        assert counts(told) == [len(layer)]
    told = ogrinfo(
        "-al", tmp_path / "plan-holds.csv", "-oo", "X_POSSIBLE_NAMES=lon", "-oo", "Y_POSSIBLE_NAMES=lat"
    )
    found = np.array([[float(x), float(y)] for x, y in re.findall(r"POINT \((\S+) (\S+)\)", told)])
    assert np.abs(found - degrees(plan["holds"].geometry, plan["holds"].crs)).max() <= 1e-7


# FlatGeobuf -------------------------------------------------------------------------------------------------------


def test_flatgeobuf_keeps_every_row_value_and_place(plan, tmp_path):
    for name, content in quiet(to_flatgeobuf_files, plan).items():
        (tmp_path / name).write_bytes(content)
    for name, layer in plan.items():
        back = gpd.read_file(tmp_path / f"plan-{name}.fgb", engine="pyogrio")
        assert len(back) == len(layer)
        assert back.crs == layer.crs
        assert shapely.equals_exact(back.geometry.to_numpy(), layer.geometry.to_numpy(), 0.0).all()
        for column in layer.columns.drop("geometry"):
            wanted = layer[column].tolist()
            found = back[column].tolist()
            assert all(a == b or (pd.isna(a) and pd.isna(b)) for a, b in zip(found, wanted, strict=True)), (
                column
            )


@needs_ogrinfo
def test_ogrinfo_reads_every_flatgeobuf(plan, tmp_path):
    for name, content in quiet(to_flatgeobuf_files, plan).items():
        (tmp_path / name).write_bytes(content)
    for name, layer in plan.items():
        told = ogrinfo("-al", tmp_path / f"plan-{name}.fgb")
        assert counts(told) == [len(layer)]
        assert '"EPSG",32615' in told
    found = [
        float(x) for x in re.findall(r"POINT \((\S+) \S+\)", ogrinfo("-al", tmp_path / "plan-holds.fgb"))
    ]
    assert np.abs(np.array(found) - plan["holds"].geometry.x).max() < 0.001  # it prints fifteen digits


def test_the_head_of_a_flatgeobuf_holds_every_caution(plan):
    for content in quiet(to_flatgeobuf_files, plan, level_m=-1.2192).values():
        assert all(caution.encode() in content for caution in CAUTIONS)
        assert b"level -4.0 ft" in content


# shapefile --------------------------------------------------------------------------------------------------------


def unpack(files, folder):
    for name, content in files.items():
        (folder / name).write_bytes(content)
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            assert archive.testzip() is None
            archive.extractall(folder)


def test_shapefiles_keep_every_row_and_place(plan, tmp_path):
    unpack(quiet(to_shapefile_sets, plan), tmp_path)
    for name, layer in plan.items():
        back = gpd.read_file(tmp_path / f"plan-{name}.shp", engine="pyogrio")
        assert len(back) == len(layer)
        assert back.crs == layer.crs
        apart = shapely.hausdorff_distance(back.geometry.to_numpy(), layer.geometry.to_numpy())
        assert apart.max() < 1e-6
    back = gpd.read_file(tmp_path / "plan-holds.shp", engine="pyogrio")
    assert back["cast_beari"].to_numpy() == pytest.approx(
        plan["holds"]["cast_bearing_deg"].to_numpy(), rel=1e-12
    )


def test_a_set_has_its_files_and_the_cautions(plan):
    with zipfile.ZipFile(io.BytesIO(quiet(to_shapefile_sets, plan)["plan-holds.shp.zip"])) as archive:
        assert {f"plan-holds.{end}" for end in ("shp", "shx", "dbf", "prj")} < set(archive.namelist())
        about = archive.read("README.txt").decode()
    assert all(caution in about for caution in CAUTIONS)
    assert "cast_beari: cast_bearing_deg" in about


def test_cut_names_and_texts_are_reported(plan):
    spots = plan["spots"].assign(note="x" * 300)
    with pytest.warns(DataWarning) as told:
        to_shapefile_sets({"spots": spots}, title="run")
    (message,) = [str(one.message) for one in told]
    assert "depth_today_m is depth_toda" in message
    assert "texts cut to 254 bytes in note" in message


def test_a_layer_that_fits_is_written_without_a_word(plan):
    to_shapefile_sets({"ramps": plan["ramps"][["ramp_id", "name", "geometry"]]}, title="run")


def test_short_columns_differ_however_alike_the_long_ones_are():
    names = [f"wave_height_{n}" for n in range(200)] + ["Wave_Heigh", "123", "", "深さ", "a b"]
    short = short_columns(names)
    assert len({name.casefold() for name in short.values()}) == len(names)
    assert all(re.fullmatch(r"[A-Za-z]\w{0,9}", name, re.ASCII) for name in short.values())


@pytest.mark.parametrize("ending", ["fgb", "shp"])
def test_mixed_and_missing_geometry_keeps_every_row(plan, tmp_path, ending):
    spots = plan["spots"].copy()
    shapes = list(spots.geometry)
    shapes[1], shapes[2], shapes[3] = shapes[1].buffer(20.0), shapely.LineString([shapes[2], shapes[3]]), None
    spots.geometry = shapes
    writer = {"fgb": to_flatgeobuf_files, "shp": to_shapefile_sets}[ending]
    for name, content in quiet(writer, {"spots": spots}).items():
        (tmp_path / name).write_bytes(content)
        if ending == "shp":
            unpack({name: content}, tmp_path)
    parts = [gpd.read_file(path, engine="pyogrio") for path in tmp_path.glob(f"*.{ending}")]
    assert sum(map(len, parts)) == len(spots)
    assert sorted(spot for part in parts for spot in part["spot_id"]) == sorted(spots["spot_id"])
    assert sum(int(part.geometry.isna().sum()) for part in parts) == 1


@needs_ogrinfo
def test_ogrinfo_reads_every_zipped_set(plan, tmp_path):
    for name, content in quiet(to_shapefile_sets, plan).items():
        (tmp_path / name).write_bytes(content)
    for name, layer in plan.items():
        told = ogrinfo("-so", "-al", f"/vsizip/{tmp_path}/plan-{name}.shp.zip/plan-{name}.shp")
        assert counts(told) == [len(layer)]


# all --------------------------------------------------------------------------------------------------------------


def test_kmz_holds_the_same_kml(plan, kml_schema):
    (content,) = write_files(plan, ["kmz"], Telling("Day run")).values()
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert archive.namelist() == [
            "doc.kml"
        ]  # OGC KML 2.2: the first .kml of the archive is the one shown
        kml_schema.validate(archive.read("doc.kml").decode())
        assert archive.read("doc.kml") == to_kml(plan, title="Day run")


@needs_ogrinfo
def test_ogrinfo_reads_the_kmz(plan, tmp_path):
    (tmp_path / "plan.kmz").write_bytes(write_files(plan, ["kmz"], Telling("Day run"))["plan.kmz"])
    assert sum(counts(ogrinfo("-so", "-al", tmp_path / "plan.kmz"))) == sum(map(len, plan.values()))


@pytest.mark.parametrize("word", ["kmz", "csv", "fgb", "shp"])
def test_hostile_text_and_empty_layers_can_be_written_and_twice_alike(hostile_layers, empty_layers, word):
    for layers in (hostile_layers, empty_layers, {}):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DataWarning)
            told = Telling("<b>\x00title", rule=NameRule(8, ascii_only=True))
            first, again = write_files(layers, [word], told), write_files(layers, [word], told)
        assert first == again
        assert all("/" not in name and name.isprintable() for name in first)


def test_layers_are_not_changed(plan):
    before = {name: layer.copy() for name, layer in plan.items()}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DataWarning)
        write_files(plan, ["csv", "fgb", "shp"], Telling("run"))
    for name, layer in plan.items():
        assert layer.equals(before[name])


def test_file_names_stay_in_their_folder_and_differ():
    stems = list(file_stems(["../x", "..\\x", "a/b", "A_B", "a_b", "", "CON", "é" * 300]).values())
    assert len({stem.casefold() for stem in stems}) == len(stems)
    assert all(re.fullmatch(r"plan-[\w-]{1,65}", stem) for stem in stems)


def test_packing_is_the_same_twice():
    assert packed({"a": b"1", "b": b"2"}) == packed({"a": b"1", "b": b"2"})
