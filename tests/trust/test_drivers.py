"""The one door to GDAL: which formats are opened, what is read whole, and what nothing may do on the way."""

import ast
import contextlib
import os
import shutil
import sqlite3
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely

import hostile_drivers
from castshed.algorithms.depth_surface import depth_surface
from castshed.toolbox.errors import DataError, UsageError
from castshed.toolbox.lakes.many_lakes import find_lakes
from castshed.toolbox.layers import door, list_layers, read_layer, read_surface, write_layers
from castshed.toolbox.sources import read_source
from castshed.toolbox.units import FOOT_M

HOME = Path(__file__).resolve().parents[2]
AT = rasterio.Affine(5.0, 0.0, 5e5, 0.0, -5.0, 4e6)


def rocks(count=13):
    return gpd.GeoDataFrame(
        {"name": [f"rock {n}" for n in range(count)]},
        geometry=[shapely.Point(5e5 + n, 4e6) for n in range(count)],
        crs=32615,
    )


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    return hostile_drivers.open_all(tmp_path_factory.mktemp("drivers"))


@pytest.mark.parametrize("name", hostile_drivers.CASES)
def test_a_hostile_file_is_refused_or_read_harmlessly(opened, name):
    assert opened[name] == ""


def test_only_the_door_opens_with_gdal():
    """No other file names what opens a layer or raster; `rasterio.features` and `.transform` open nothing."""
    opens = {
        "read_dataframe",
        "read_file",
        "write_dataframe",
        "open_arrow",
        "read_arrow",
        "MemoryFile",
        "to_file",
    }
    found = []
    for room in ("toolbox", "algorithms", "demo_layers"):
        for path in sorted((HOME / room).rglob("*.py")):
            if path.relative_to(HOME).as_posix() == "toolbox/layers/door.py":
                continue
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                names = []
                if isinstance(node, ast.Import):
                    names = [
                        a.name for a in node.names if a.name.split(".")[0] in ("pyogrio", "fiona", "osgeo")
                    ]
                    names += [a.name for a in node.names if a.name == "rasterio"]
                elif isinstance(node, ast.ImportFrom) and not node.level:
                    top = str(node.module).split(".")[0]
                    names = [top] if top in ("pyogrio", "fiona", "osgeo") else []
                    names += [
                        a.name
                        for a in node.names
                        if top == "rasterio" and a.name in ("open", "MemoryFile", "io")
                    ]
                elif isinstance(node, ast.Attribute) and node.attr in opens:
                    names = [node.attr] if node.attr != "write_features" else []
                found += [f"{path.relative_to(HOME)}:{node.lineno} {name}" for name in names]
    assert found == []


def test_no_other_driver_is_there_once_a_layer_was_read(tmp_path):
    import pyogrio

    write_layers(tmp_path / "lake.gpkg", {"rocks": rocks()})
    read_layer(f"{tmp_path}/lake.gpkg:rocks")
    assert set(pyogrio.list_drivers()) <= door.VECTOR_DRIVERS


@pytest.mark.parametrize("stored", [0, 2, 12, 14, 999, None])
def test_all_rows_are_read_whatever_the_file_says_of_their_number(tmp_path, stored):
    """gpkg_ogr_contents is no table of the standard: other programs add rows and leave its count as it was."""
    file = tmp_path / "lake.gpkg"
    write_layers(file, {"rocks": rocks()})
    with contextlib.closing(sqlite3.connect(file)) as db, db:
        db.execute("UPDATE gpkg_ogr_contents SET feature_count = ?", (stored,))
    assert list(read_layer(f"{file}:rocks")["name"]) == [f"rock {n}" for n in range(13)]


def test_rows_added_without_count_and_index_are_read(tmp_path):
    file = tmp_path / "lake.gpkg"
    write_layers(file, {"rocks": rocks(4)})
    with contextlib.closing(sqlite3.connect(file)) as db, db:
        for (name,) in db.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'rocks'"
        ).fetchall():
            db.execute(f'DROP TRIGGER "{name}"')
        db.execute("INSERT INTO rocks (geom, name) SELECT geom, 'added ' || name FROM rocks")
    assert len(read_layer(f"{file}:rocks")) == 8


def test_a_table_that_cannot_be_read_whole_stops_the_read(tmp_path, monkeypatch):
    file = tmp_path / "lake.gpkg"
    write_layers(file, {"rocks": rocks()})
    monkeypatch.setattr(door.geopackage, "require_table", lambda *_: 14)
    with pytest.raises(DataError, match="has 14 rows, and 13 were read"):
        read_layer(f"{file}:rocks")


def raster(file, values, *, scale=1.0, offset=0.0, unit=None, crs="EPSG:32615", driver="GTiff", **more):
    values = np.asarray(values)
    with rasterio.open(
        file, "w", driver=driver, width=values.shape[1], height=values.shape[0], count=1, dtype=values.dtype, crs=crs,
        transform=AT, **more,
    ) as data:  # fmt: skip
        data.write(values, 1)
        if (scale, offset) != (1.0, 0.0):
            data.scales, data.offsets = (scale,), (offset,)
        if unit:
            data.units = (unit,)
    return file


def test_centimetres_as_whole_numbers_are_metres(tmp_path):
    """A shoal of 0.3 m is stored as 30 with a scale of 0.01; -100 is 1 m of dry land."""
    file = raster(tmp_path / "depth.tif", np.array([[30, 1000], [-100, 5]], "int16"), scale=0.01)
    assert read_surface(file).depth_m == pytest.approx(np.array([[0.3, 10.0], [-1.0, 0.05]]), abs=1e-6)
    file = raster(
        tmp_path / "more.tif", np.array([[30, 1000]], "int16"), scale=0.01, offset=-2.0, nodata=1000
    )
    assert read_surface(file).depth_m == pytest.approx(np.array([[-1.7, np.nan]]), abs=1e-6, nan_ok=True)


@pytest.mark.parametrize(
    ("unit", "metres"),
    # NIST Handbook 44, appendix C: the foot, the US survey foot and the fathom of six feet
    [("ft", 0.3048), ("foot", 0.3048), ("us-ft", 1200 / 3937), ("US survey foot", 1200 / 3937), ("cm", 0.01),
     ("mm", 0.001), ("fathom", 1.8288), ("m", 1.0), ("metre", 1.0), ("[ft_i]", 0.3048)],
)  # fmt: skip
@pytest.mark.parametrize("driver", ["GTiff", "GPKG"])
def test_the_unit_a_raster_states_is_turned_into_metres(tmp_path, driver, unit, metres):
    values = np.array([[10.0, -2.0]], "float32")
    if driver == "GTiff":
        file = raster(tmp_path / "depth.tif", values, unit=unit)
    else:
        file = raster(tmp_path / "depth.gpkg", values, driver="GPKG", TILE_FORMAT="TIFF", UOM=unit)
    assert read_surface(file).depth_m == pytest.approx(values * metres, rel=1e-6)


def test_the_unit_of_heights_of_a_compound_system_counts(tmp_path):
    """EPSG:6360 is NAVD88 height in US survey feet; the places stay those of EPSG:26915."""
    made = read_surface(
        raster(tmp_path / "depth.tif", np.full((2, 2), 10.0, "float32"), crs="EPSG:26915+6360")
    )
    assert made.depth_m == pytest.approx(10 * 1200 / 3937, rel=1e-6)
    assert made.crs.to_epsg() == 26915


def test_an_unknown_unit_and_a_senseless_scale_are_refused(tmp_path):
    values = np.full((2, 2), 10.0, "float32")
    with pytest.raises(DataError, match=r"unit as 'cubits', which is not known.*Write one of these"):
        read_surface(raster(tmp_path / "a.tif", values, unit="cubits"))
    with pytest.raises(DataError, match="a scale of 0"):
        read_surface(raster(tmp_path / "b.tif", values, scale=0.0))
    with pytest.raises(DataError, match="its reference system counts heights"):
        read_surface(raster(tmp_path / "c.tif", values, crs="EPSG:26915+6360", unit="m"))


def test_a_coverage_of_whole_numbers_has_its_scale_and_one_of_decimals_none(tmp_path):
    """OGC 17-066r2: value = (tile value x tile scale + tile offset) x scale + offset, for whole numbers."""
    file = raster(tmp_path / "depth.gpkg", np.full((4, 4), 30, "uint16"), driver="GPKG", TILE_FORMAT="PNG")
    with contextlib.closing(sqlite3.connect(file)) as db, db:
        db.execute("UPDATE gpkg_2d_gridded_coverage_ancillary SET scale = 0.01, offset = 1, uom = 'ft'")
    with pytest.raises(DataError, match="precision of 1"):  # read so, 1.3 would become 1
        read_surface(file)
    with contextlib.closing(sqlite3.connect(file)) as db, db:
        db.execute("UPDATE gpkg_2d_gridded_coverage_ancillary SET precision = 0.01")
    assert read_surface(file).depth_m == pytest.approx(np.full((4, 4), 1.3 * FOOT_M), rel=1e-6)
    write_layers(tmp_path / "lake.gpkg", {"depth": read_surface(file)})
    with contextlib.closing(sqlite3.connect(tmp_path / "lake.gpkg")) as db, db:
        db.execute("UPDATE gpkg_2d_gridded_coverage_ancillary SET scale = 0.01")
    with pytest.raises(DataError, match=r"decimal numbers with a scale of 0\.01"):
        read_surface(tmp_path / "lake.gpkg")


def test_a_stated_unit_is_not_applied_twice(tmp_path, lake):
    feet = lake.depth.depth_m / FOOT_M
    with rasterio.open(
        tmp_path / "depth.tif", "w", driver="GTiff", width=feet.shape[1], height=feet.shape[0], count=1, dtype="float32",
        crs=lake.crs.to_wkt(), transform=rasterio.Affine(5.0, 0.0, lake.depth.west_m, 0.0, -5.0, lake.depth.north_m),
    ) as data:  # fmt: skip
        data.write(feet.astype("float32"), 1)
        data.units = ("ft",)
    stated = read_surface(tmp_path / "depth.tif")
    plain = depth_surface(lake.shoreline, raster=stated).depth
    same = depth_surface(lake.shoreline, raster=stated, raster_unit="ft").depth
    assert np.array_equal(plain.depth_m, same.depth_m, equal_nan=True)
    assert np.nanmax(plain.depth_m) == pytest.approx(10.0, abs=0.01)
    with pytest.raises(UsageError, match="states its unit itself, ft"):
        depth_surface(lake.shoreline, raster=stated, raster_unit="fathom")


@pytest.mark.parametrize(
    "folder", ["a:b", "it's", 'a "quoted" one', "semi;colon", "what!", "how?", "lakes.zip", "50%20"]
)
def test_a_folder_of_any_name_is_read_and_written(tmp_path, lake, folder):
    home = tmp_path / folder
    home.mkdir()
    write_layers(home / "lake.gpkg", {"rocks": rocks(), "depth": lake.depth})
    write_layers(home / "lake.gpkg", {"more": rocks(2)})
    assert len(read_layer(f"{home}/lake.gpkg:rocks")) == 13
    assert np.array_equal(read_surface(f"{home}/lake.gpkg:depth").depth_m, lake.depth.depth_m, equal_nan=True)
    rocks().to_crs(4326).to_file(tmp_path / "rocks.geojson", driver="GeoJSON")
    shutil.move(tmp_path / "rocks.geojson", home)
    assert len(read_layer(f"{home}/rocks.geojson")) == 13
    assert sorted(p.name for p in home.iterdir()) == ["lake.gpkg", "rocks.geojson"]


def test_a_name_after_a_semicolon_is_part_of_the_name(tmp_path):
    write_layers(tmp_path / "name.gpkg", {"spots": rocks(2)})
    write_layers(tmp_path / "other.gpkg", {"spots": rocks(7)})
    (tmp_path / "other.gpkg").rename(tmp_path / "name.gpkg;v2.gpkg")
    assert len(read_layer(f"{tmp_path}/name.gpkg;v2.gpkg:spots")) == 7
    assert len(read_source(f"{tmp_path}/name.gpkg;v2.gpkg:spots")) == 7
    assert len(read_layer(f"{tmp_path}/name.gpkg:spots")) == 2


@pytest.mark.parametrize("ending", ["db", "sqlite", "tif", "geojson", "txt"])
def test_a_geopackage_of_another_name_is_read_as_what_it_is(tmp_path, ending):
    write_layers(tmp_path / "lake.gpkg", {"rocks": rocks()})
    file = (tmp_path / "lake.gpkg").rename(tmp_path / f"lake.{ending}")
    assert list_layers(file) == {"rocks": "features"}
    assert len(read_layer(f"{file}:rocks")) == 13


def test_an_unfinished_write_is_named_and_not_undone(tmp_path):
    file = tmp_path / "lake.gpkg"
    write_layers(file, {"rocks": rocks()})
    hostile_drivers.break_off(file)
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    assert sorted(before) == ["lake.gpkg", "lake.gpkg-journal"]
    begin = time.perf_counter()
    for work in (
        lambda: list_layers(file),
        lambda: read_layer(f"{file}:rocks"),
        lambda: write_layers(file, {"more": rocks()}),
    ):
        with pytest.raises(
            DataError, match=r"unfinished write: lake\.gpkg-journal.*open the file once in the program"
        ):
            work()
    assert time.perf_counter() - begin < 2.0
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before


def test_a_file_held_by_another_program_is_said_to_be_in_use(tmp_path):
    file = tmp_path / "lake.gpkg"
    write_layers(file, {"rocks": rocks()})
    with contextlib.closing(sqlite3.connect(file, isolation_level=None)) as holder:
        holder.execute("BEGIN EXCLUSIVE")
        begin = time.perf_counter()
        with pytest.raises(DataError, match="is in use: another program holds the file"):
            read_layer(f"{file}:rocks")
        assert time.perf_counter() - begin < 5.0
        holder.execute("ROLLBACK")


def test_reading_a_file_kept_with_a_log_leaves_none(tmp_path):
    file = tmp_path / "lake.gpkg"
    write_layers(file, {"rocks": rocks()})
    with contextlib.closing(sqlite3.connect(file)) as db:
        db.execute("PRAGMA journal_mode = WAL")
    assert len(read_layer(f"{file}:rocks")) == 13
    assert [p.name for p in tmp_path.iterdir()] == ["lake.gpkg"]


def test_a_pipe_is_refused_at_once_wherever_a_file_is_named(tmp_path):
    from castshed.toolbox.plan.day_file import read_day
    from castshed.toolbox.steps.steps_file import read_tables

    pipe = tmp_path / "lake.gpkg"
    os.mkfifo(pipe)
    works = [read_layer, read_surface, read_source, lambda p: find_lakes([Path(p)]), lambda p: read_day(Path(p)),
             lambda p: read_tables(Path(p)), lambda p: write_layers(p, {"rocks": rocks()})]  # fmt: skip
    for work in works:
        with pytest.raises(Exception, match="is a named pipe"):
            work(str(pipe))
