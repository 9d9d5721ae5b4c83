"""Layers on disk: references, what is listed, and that a write is whole or nothing."""

import hashlib
import os
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

from castshed.toolbox.errors import (
    DataError,
    FileMissing,
    LayerMissing,
    OutputExists,
    OutputFailed,
    UsageError,
)
from castshed.toolbox.layers import (
    exchange,
    geopackage,
    list_layers,
    parse_reference,
    read_layer,
    read_surface,
    write_layers,
)


def points(n=3, crs=32615):
    return gpd.GeoDataFrame(
        {"spot_id": [f"s{i}" for i in range(n)]},
        geometry=[shapely.Point(500_000 + i, 4_000_000) for i in range(n)],
        crs=crs,
    )


def rows(path, table):
    with sqlite3.connect(path) as db:
        return db.execute(f'SELECT * FROM "{table}"').fetchall()


@pytest.mark.parametrize(
    ("text", "path", "layer"),
    [
        ("lake.gpkg:spots", "lake.gpkg", "spots"),
        ("lake.gpkg", "lake.gpkg", None),
        (r"C:\lakes\my lake.gpkg:spots", r"C:\lakes\my lake.gpkg", "spots"),
        (r"C:\lakes\lake.gpkg", r"C:\lakes\lake.gpkg", None),
        ("a:b/lake.gpkg", "a:b/lake.gpkg", None),
        ("über see.gpkg:плёс", "über see.gpkg", "плёс"),
    ],
)
def test_a_reference_splits_at_its_layer(text, path, layer):
    ref = parse_reference(text)
    assert (str(ref.path), ref.layer) == (path, layer)


@pytest.mark.parametrize("text", ["", "  ", "lake.gpkg:"])
def test_a_reference_without_a_name_is_refused(text):
    with pytest.raises(UsageError):
        parse_reference(text)


def test_vector_and_coverage_share_a_file_and_come_back_unchanged(tmp_path, lake):
    path = tmp_path / "lake.gpkg"
    write_layers(path, {"spots": points(), "depth": lake.depth}, lineage='{"made_by": "test"}', words="made")
    assert list_layers(path) == {"depth": "coverage", "spots": "features"}
    back = read_surface(f"{path}:depth")
    assert np.array_equal(back.depth_m, lake.depth.depth_m, equal_nan=True)
    assert back.bounds == lake.depth.bounds
    assert back.error_m == lake.depth.error_m
    assert back.crs.equals(lake.depth.crs, ignore_axis_order=True)
    assert list(read_layer(f"{path}:spots")["spot_id"]) == ["s0", "s1", "s2"]
    assert geopackage.read_lineage(path, "spots") == '{"made_by": "test"}'


def test_an_unknown_depth_stays_unknown(tmp_path, lake):
    from dataclasses import replace

    holed = lake.depth.depth_m.copy()
    holed[3:9, 4:8] = np.nan
    path = tmp_path / "lake.gpkg"
    write_layers(path, {"depth": replace(lake.depth, depth_m=holed)})
    assert np.array_equal(read_surface(path).depth_m, holed, equal_nan=True)


def test_replacing_needs_to_be_asked_for_and_leaves_other_layers_as_they_were(tmp_path, lake):
    path = tmp_path / "lake.gpkg"
    write_layers(path, {"keep": points(5), "depth": lake.depth, "spots": points(2)}, lineage='{"n": 1}')
    kept = rows(path, "keep"), rows(path, "depth")
    before = hashlib.sha256(path.read_bytes()).hexdigest()
    with pytest.raises(OutputExists, match="--replace"):
        write_layers(path, {"spots": points(4)})
    assert hashlib.sha256(path.read_bytes()).hexdigest() == before
    write_layers(path, {"spots": points(4)}, replace=True, lineage='{"n": 2}')
    assert (rows(path, "keep"), rows(path, "depth")) == kept
    assert len(rows(path, "spots")) == 4
    assert geopackage.read_lineage(path, "keep") == '{"n": 1}'
    assert geopackage.read_lineage(path, "spots") == '{"n": 2}'
    with sqlite3.connect(path) as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert db.execute("PRAGMA foreign_key_check").fetchall() == []


def test_a_coverage_can_be_replaced_many_times(tmp_path, lake):
    path = tmp_path / "lake.gpkg"
    write_layers(path, {"depth": lake.depth, "spots": points()})
    for _ in range(3):
        write_layers(path, {"depth": lake.depth.shifted(1.0)}, replace=True)
    assert np.allclose(read_surface(path).depth_m, lake.depth.depth_m + 1.0)
    assert list_layers(path)["spots"] == "features"


def test_a_layer_without_rows_keeps_its_columns_and_type(tmp_path):
    path = tmp_path / "lake.gpkg"
    write_layers(path, {"spots": points(0)}, types={"spots": ("Point",)})
    assert list(read_layer(path).columns) == ["spot_id", "geometry"]
    with sqlite3.connect(path) as db:
        assert db.execute("SELECT geometry_type_name FROM gpkg_geometry_columns").fetchone() == ("POINT",)


def test_a_failure_while_writing_leaves_the_old_file(tmp_path):
    path = tmp_path / "lake.gpkg"
    write_layers(path, {"spots": points()})
    before = path.read_bytes()

    def fail(part: Path) -> None:
        part.write_bytes(b"half")
        raise OSError("no space left on device")

    with pytest.raises(OutputFailed, match="nothing was changed"):
        exchange.change(path, ["spots"], fail, replace=True)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["lake.gpkg"]


_KILL = """
import os, sys, signal
from pathlib import Path
from castshed.toolbox.layers import exchange
def fill(part):
    part.write_bytes(b"x" * 4096)
    os.kill(os.getpid(), signal.SIGKILL)
exchange.change(Path(sys.argv[1]), ["spots"], fill, replace=True)
"""


@pytest.mark.skipif(os.name != "posix", reason="SIGKILL is a POSIX signal")
def test_a_killed_write_leaves_the_old_file_and_no_layer_of_it(tmp_path):
    path = tmp_path / "lake.gpkg"
    write_layers(path, {"spots": points()})
    before = path.read_bytes()
    done = subprocess.run([sys.executable, "-c", _KILL, str(path)], check=False)
    assert done.returncode == -9
    assert path.read_bytes() == before
    write_layers(path, {"spots": points(7)}, replace=True)
    assert len(read_layer(path)) == 7


def test_a_file_locked_by_another_program_is_named(tmp_path, monkeypatch):
    path = tmp_path / "lake.gpkg"
    write_layers(path, {"spots": points()})
    monkeypatch.setattr(exchange, "LOCK_WAIT_S", 0.5)
    holder = sqlite3.connect(path, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    with pytest.raises(OutputFailed, match="locked by another program"):
        write_layers(path, {"spots": points(9)}, replace=True)
    holder.execute("ROLLBACK")
    holder.close()
    assert len(read_layer(path)) == 3


def test_writers_at_the_same_time_lose_nothing(tmp_path):
    path = tmp_path / "lake.gpkg"
    faults = []

    def work(number):
        try:
            write_layers(path, {f"layer{number}": points(number + 1)})
        except Exception as error:  # noqa: BLE001
            faults.append(error)

    threads = [threading.Thread(target=work, args=(n,)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert sorted(list_layers(path)) == [f"layer{n}" for n in range(6)]


def test_a_missing_file_or_layer_is_named_with_what_is_there(tmp_path, lake):
    with pytest.raises(FileMissing, match=r"nowhere\.gpkg is not there"):
        read_layer(f"{tmp_path}/nowhere.gpkg:spots")
    path = tmp_path / "lake.gpkg"
    write_layers(path, {"spots": points(), "other": points(), "depth": lake.depth})
    with pytest.raises(LayerMissing, match=r"no layer 'spost'; it has: .*spots \(features\)"):
        read_layer(f"{path}:spost")
    with pytest.raises(LayerMissing, match="say which layer"):
        read_layer(str(path))
    assert len(read_layer(str(path), usual="spots")) == 3
    with pytest.raises(LayerMissing, match="features is needed"):
        read_layer(f"{path}:depth")
    with pytest.raises(LayerMissing, match="coverage is needed"):
        read_surface(f"{path}:spots")


@pytest.mark.parametrize(
    "content", [b"", b"not a database at all, really not" * 40, b"SQLite format 3\x00" + b"\x00" * 200]
)
def test_a_file_that_is_no_geopackage_is_refused(tmp_path, content):
    path = tmp_path / "lake.gpkg"
    path.write_bytes(content)
    with pytest.raises(DataError, match="cannot be read"):
        read_layer(f"{path}:spots")
    assert path.read_bytes() == content


@pytest.mark.parametrize(
    "name", ["gpkg_contents", "sqlite_master", 'a"; DROP TABLE x; --', "", "1st", "x" * 80]
)
def test_a_layer_name_that_would_harm_is_refused(tmp_path, name):
    with pytest.raises(UsageError, match="layer name"):
        write_layers(tmp_path / "lake.gpkg", {name: points()})
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_is_named(tmp_path):
    with pytest.raises(OutputFailed, match="not there"):
        write_layers(tmp_path / "no" / "lake.gpkg", {"spots": points()})


def test_only_a_geopackage_is_written(tmp_path):
    with pytest.raises(UsageError, match="GeoPackage"):
        write_layers(tmp_path / "lake.shp", {"spots": points()})


def test_other_formats_are_read_too(tmp_path):
    points().to_file(tmp_path / "spots.geojson", driver="GeoJSON")
    assert len(read_layer(f"{tmp_path}/spots.geojson")) == 3


def test_features_without_a_name_have_that_of_the_file(tmp_path):
    """Most programs write GeoJSON so; its layer then has a name that the library makes up anew at each reading."""
    (tmp_path / "spots.geojson").write_text(
        '{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {"name": "a"}, '
        '"geometry": {"type": "Point", "coordinates": [-93.0, 41.5]}}]}'
    )
    assert list(list_layers(tmp_path / "spots.geojson")) == ["spots"]
    assert len(read_layer(f"{tmp_path}/spots.geojson:spots")) == 1


def test_ogrinfo_reads_the_file_as_a_geopackage(tmp_path, lake):
    """An independent reader: GDAL's own command of the Debian package gdal-bin."""
    path = tmp_path / "lake.gpkg"
    write_layers(path, {"spots": points(), "depth": lake.depth}, lineage='{"made_by": "test"}')
    text = subprocess.run(
        ["ogrinfo", "-ro", "-al", str(path)], check=True, capture_output=True, text=True
    ).stdout
    assert "Feature Count: 3" in text
    assert "UTM zone 15N" in text
    assert "ERROR" not in text
    with path.open("rb") as file:
        file.seek(68)
        assert file.read(4) == b"GPKG"  # application_id 0x47504B47, GeoPackage 1.4 requirement 2
