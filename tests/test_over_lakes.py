"""Many lakes at once: nothing lost, nothing doubled, nothing done twice, and one lake harms no other."""

import json
import logging
import os
import shutil
import subprocess
import sys

import geopandas as gpd
import pytest
import shapely

from castshed.algorithms.find_structure import find_structure
from castshed.toolbox import crew
from castshed.toolbox.errors import CrsError, DataError, FileMissing, OutputExists, UsageError
from castshed.toolbox.layers import read_layer, write_layers
from castshed.toolbox.many import check_all_done, find_lakes, over_lakes
from castshed.toolbox.testing import assert_layer_equal
from conftest import CRS, frame, make_lake

CIRCLES = ["{lake}:spots", "--radius", "30ft"]
PLUGIN = '''
import os
import signal
from pathlib import Path
from typing import Annotated

from geopandas import GeoDataFrame

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import POLYGON, Layer, Length, Spots


@algorithm(step="share", example="")
def circles(spots: Spots, *, radius_m: Length = 20.0) -> Annotated[GeoDataFrame, Layer("circles", POLYGON)]:
    """Draw a circle round each spot.

    Parameters
    ----------
    spots
        Places to circle.
    radius_m
        Radius.
    """
    note = spots["name"].iloc[0]
    with Path("CALLS", note).open("a") as file:
        file.write("x")
    if note == "deadly" or (note == "shaky" and Path("CALLS", note).stat().st_size == 1):
        os.kill(os.getpid(), signal.SIGKILL)
    if note == "faulty":
        raise ZeroDivisionError("made")
    return spots[["spot_id", "geometry"]].assign(geometry=spots.buffer(radius_m))
'''


def write_lake(path, name, count=3, crs=CRS):
    points = [shapely.Point(500_000 + 100 * k, 4_000_000) for k in range(count)]
    ids = [f"s{k}" for k in range(count)]
    kinds, depths = ["hump"] * count, [3.0] * count
    layer = frame(points, crs=crs, spot_id=ids, name=[name] * count, kind=kinds, depth_m=depths)
    path.unlink(missing_ok=True)
    write_layers(path, {"spots": layer})


@pytest.fixture(scope="module")
def address():
    """Address of workers that need not be started for every test."""
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=1, threads_per_worker=1, dashboard_address="127.0.0.1:0", silence_logs=logging.CRITICAL
    ) as cluster:
        yield cluster.scheduler_address


@pytest.fixture
def calls(tmp_path, monkeypatch):
    """Names of lakes the plugin was called for, an x for each time."""
    folder, plugins = tmp_path / "calls", tmp_path / "plugins"
    folder.mkdir()
    plugins.mkdir()
    (plugins / "circles.py").write_text(PLUGIN.replace("CALLS", str(folder)))
    monkeypatch.setenv("CASTSHED_ALGORITHMS", str(plugins))
    (tmp_path / "lakes").mkdir()
    return lambda: {p.name: p.stat().st_size for p in folder.iterdir()}


def run(tmp_path, out="out", lakes="lakes", arguments=CIRCLES, **more):
    where = [tmp_path / lakes] if isinstance(lakes, str) else lakes
    return over_lakes("circles", arguments, where, tmp_path / out, **{"workers": 2, **more})


def states(summary):
    return {o.lake: o.state for o in summary.outcomes}


def test_bad_lakes_are_tried_once_more_and_named_and_harm_no_other(tmp_path, calls):
    lakes = tmp_path / "lakes"
    for name in ("a", "b", "c", "d", "deadly", "shaky", "faulty"):
        write_lake(lakes / f"{name}.gpkg", name)
    (lakes / "text.gpkg").write_text("no database")
    write_layers(lakes / "bare.gpkg", {"other": frame([shapely.Point(0, 0)], x=[1])})
    summary = run(tmp_path)
    good = dict.fromkeys(("a", "b", "c", "d", "shaky"), "done")
    assert states(summary) == good | dict.fromkeys(("deadly", "faulty", "text", "bare"), "failed")
    assert calls() == {"a": 1, "b": 1, "c": 1, "d": 1, "shaky": 2, "deadly": 2, "faulty": 2}
    errors = {o.lake: o.error for o in summary.failed}
    assert "died" in errors["deadly"]
    assert "ZeroDivisionError: made" in errors["faulty"]
    assert "text.gpkg cannot be read" in errors["text"]
    assert "spots" in errors["bare"]
    for name in good:
        assert len(read_layer(tmp_path / "out" / f"{name}.gpkg")) == 3
    left = {p.name for p in (tmp_path / "out").iterdir() if not p.name.startswith(".over-lakes")}
    assert left == {f"{name}.gpkg" for name in good}  # nothing half made, and nothing of those that failed
    with pytest.raises(Exception, match=r"4 of 9 lakes failed \(bare, deadly, faulty, text\)") as told:
        check_all_done(summary)
    assert told.value.exit_code == 1
    # Mended and run again, only what is left is done.
    for name in ("deadly", "faulty", "text", "bare"):
        write_lake(lakes / f"{name}.gpkg", f"mended {name}")
    again = run(tmp_path)
    assert again.tasks == 4
    assert states(again) == dict.fromkeys(good, "kept") | dict.fromkeys(errors, "done")
    assert calls()["a"] == 1


def test_done_lakes_are_done_again_only_when_something_changed(tmp_path, calls, address):
    for name in ("a", "b", "c"):
        write_lake(tmp_path / "lakes" / f"{name}.gpkg", name)
    first = run(tmp_path, scheduler=address)
    assert first.tasks == 3
    again = run(tmp_path, scheduler=address)
    assert again.tasks == 0
    assert states(again) == dict.fromkeys("abc", "kept")
    assert (
        [o.features for o in again.outcomes] == [o.features for o in first.outcomes] == [{"circles": 3}] * 3
    )
    assert (
        run(tmp_path, scheduler=address, arguments=["{lake}:spots", "--radius", "9.144m"]).tasks == 0
    )  # 30 ft exactly
    with pytest.raises(OutputExists, match="a, b, c are there"):
        run(tmp_path, scheduler=address, arguments=["{lake}:spots", "--radius", "31ft"])
    write_lake(tmp_path / "lakes" / "b.gpkg", "b", count=5)
    with pytest.raises(OutputExists, match="Results of b are there"):
        run(tmp_path, scheduler=address)
    assert calls() == {"a": 1, "b": 1, "c": 1}
    shutil.copy(tmp_path / "out" / "a.gpkg", tmp_path / "out" / "c.gpkg")  # somebody's hand
    changed = run(tmp_path, scheduler=address, replace=True)
    assert states(changed) == {"a": "kept", "b": "done", "c": "done"}
    assert len(read_layer(tmp_path / "out" / "b.gpkg")) == 5
    (tmp_path / "out" / "a.gpkg").unlink()
    assert states(run(tmp_path, scheduler=address)) == {"a": "done", "b": "kept", "c": "kept"}


def test_what_a_crash_left_between_result_and_record_is_our_own(tmp_path, calls, address):
    write_lake(tmp_path / "lakes" / "a.gpkg", "a")
    run(tmp_path, scheduler=address)
    record = tmp_path / "out" / ".over-lakes" / "lakes" / "a.json"
    body = json.loads(record.read_text())
    record.write_text(json.dumps(body | {"result": ""}))
    assert states(run(tmp_path, scheduler=address)) == {"a": "done"}
    record.write_text("broken")
    with pytest.raises(OutputExists, match="--replace"):
        run(tmp_path, scheduler=address)


def test_gathered_rows_carry_their_lake(tmp_path, calls, address):
    for k, name in enumerate(("a", "b")):
        write_lake(tmp_path / "lakes" / f"{name}.gpkg", name, count=2 + k)
    write_lake(tmp_path / "lakes" / "none.gpkg", "faulty")
    summary = run(tmp_path, "all.gpkg", scheduler=address)
    assert summary.gathered == tmp_path / "all.gpkg"
    rows = read_layer(tmp_path / "all.gpkg")
    assert rows["lake"].tolist() == ["a", "a", "b", "b", "b"]
    single = read_layer(tmp_path / "all.lakes" / "b.gpkg")
    assert_layer_equal(rows[rows["lake"] == "b"].drop(columns="lake"), single)
    before = (tmp_path / "all.gpkg").stat()
    assert run(tmp_path, "all.gpkg", scheduler=address).tasks == 1  # the one that failed
    assert (tmp_path / "all.gpkg").stat().st_mtime_ns == before.st_mtime_ns
    # Another zone: refused with the remedy, gathered in a system that is given; the file is ours, so no --replace.
    write_lake(tmp_path / "lakes" / "none.gpkg", "east", crs="EPSG:32616")
    with pytest.raises(CrsError, match="--crs EPSG"):
        run(tmp_path, "all.gpkg", scheduler=address)
    assert run(tmp_path, "all.gpkg", scheduler=address, crs="EPSG:5070").tasks == 0
    rows = read_layer(tmp_path / "all.gpkg")
    assert rows.crs.to_epsg() == 5070
    assert rows["lake"].value_counts().to_dict() == {"a": 2, "b": 3, "none": 3}
    # EPSG guidance note 7-2, UTM: zone k has its central meridian at 6 k - 183 degrees, so the next one is 6 degrees on
    lon = rows.geometry.to_crs(4326).representative_point().x
    assert lon[rows["lake"] == "none"].mean() - lon[rows["lake"] == "a"].mean() == pytest.approx(
        6.0, abs=0.01
    )
    write_layers(tmp_path / "all.gpkg", {"mine": single})  # somebody's hand
    write_lake(tmp_path / "lakes" / "none.gpkg", "east", count=1, crs="EPSG:32616")
    with pytest.raises(OutputExists, match=r"all\.gpkg"):
        run(tmp_path, "all.gpkg", scheduler=address, crs="EPSG:5070")


def test_gathered_as_geoparquet(tmp_path, calls, address):
    pytest.importorskip("pyarrow", reason="of the extra many")
    for name in ("a", "b"):
        write_lake(tmp_path / "lakes" / f"{name}.gpkg", name)
    run(tmp_path, "all.parquet", scheduler=address)
    rows = gpd.read_parquet(tmp_path / "all.parquet")
    assert rows["lake"].tolist() == ["a"] * 3 + ["b"] * 3
    assert_layer_equal(
        rows[rows["lake"] == "a"].drop(columns="lake"), read_layer(tmp_path / "all.lakes" / "a.gpkg")
    )
    assert run(tmp_path, "all.parquet", scheduler=address).tasks == 0


def test_a_scheduler_that_does_not_answer_is_told(tmp_path, calls, monkeypatch):
    monkeypatch.setattr(crew, "_WAIT_S", 1)
    write_lake(tmp_path / "lakes" / "a.gpkg", "a")
    with pytest.raises(UsageError, match=r"No Dask scheduler answers at 'tcp://127\.0\.0\.1:9'"):
        run(tmp_path, scheduler="tcp://127.0.0.1:9")
    with pytest.raises(UsageError, match="No Dask scheduler answers at 'nonsense'"):
        run(tmp_path, scheduler="nonsense")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["lake.gpkg:spots"], "write {lake} where its file goes"),
        (["{lake}:spots", "--radius", "30"], "radius.*unit"),
        (["{lake}:spots", "--wrong", "1"], "[Nn]o such option"),
        (["{lake}:spots", "--out", "x.gpkg"], "--out belongs to over-lakes"),
        (["{lake}:spots", "--replace"], "--replace belongs to over-lakes"),
        (["{lake}:spots", "{lake}:more"], "unexpected extra argument"),
    ],
)
def test_wrong_arguments_are_told_before_any_work(tmp_path, calls, arguments, told):
    write_lake(tmp_path / "lakes" / "a.gpkg", "a")
    with pytest.raises(UsageError, match=told):
        run(tmp_path, arguments=arguments)
    assert not (tmp_path / "out").exists()


def test_wrong_places_are_told_before_any_work(tmp_path, calls):
    lakes = tmp_path / "lakes"
    with pytest.raises(DataError, match="holds no GeoPackage"):
        run(tmp_path)
    with pytest.raises(FileMissing, match="nowhere is not there"):
        run(tmp_path, lakes="nowhere")
    write_lake(lakes / "a.gpkg", "a")
    with pytest.raises(UsageError, match="would be written over the lake"):
        run(tmp_path, out="lakes")
    with pytest.raises(UsageError, match="--crs is for what is gathered"):
        run(tmp_path, crs="EPSG:5070")
    (tmp_path / "more").mkdir()
    shutil.copy(lakes / "a.gpkg", tmp_path / "more" / "A.gpkg")
    with pytest.raises(UsageError, match="Two lakes are called A"):
        run(tmp_path, lakes=[lakes, tmp_path / "more"])
    (tmp_path / "all.gpkg").write_bytes((lakes / "a.gpkg").read_bytes())
    write_layers(tmp_path / "all.gpkg", {"circles": read_layer(lakes / "a.gpkg")})
    with pytest.raises(OutputExists, match="already has circles"):
        run(tmp_path, out="all.gpkg")
    with pytest.raises(UsageError, match="cannot be gathered"):
        over_lakes("depth-surface", ["{lake}:contours"], [lakes], tmp_path / "all.gpkg")
    with pytest.raises(UsageError, match="no algorithm 'nothing'"):
        over_lakes("nothing", ["{lake}"], [lakes], tmp_path / "out")


def test_a_list_names_lakes_beside_it(tmp_path):
    (tmp_path / "lakes").mkdir()
    listed = tmp_path / "list.txt"
    listed.write_text("# ours\nlakes/b.gpkg\n\n  lakes/a.gpkg  \nlakes/b.gpkg\n", encoding="utf-8")
    assert find_lakes([listed]) == {name: tmp_path / "lakes" / f"{name}.gpkg" for name in ("b", "a")}
    listed.write_text("lakes/b.shp\n", encoding="utf-8")
    with pytest.raises(DataError, match=r"'lakes/b.shp' is none"):
        find_lakes([listed])


def test_the_command_does_what_the_algorithm_does(tmp_path):
    lake = make_lake(10.0)
    (tmp_path / "lakes").mkdir()
    write_layers(tmp_path / "lakes" / "made.gpkg", {"depth": lake.depth})
    (tmp_path / "lakes" / "broken.gpkg").write_text("no database")
    typed = "over-lakes --lakes lakes --out out --workers 1 --json find-structure {lake}:depth --level -2ft --most 3"
    done = subprocess.run(
        [sys.executable, "-m", "castshed.toolbox.cli", *typed.split()],
        cwd=tmp_path, capture_output=True, text=True, env=os.environ | {"CASTSHED_ALGORITHMS": ""}, check=False,
    )  # fmt: skip
    assert done.returncode == 3, done.stderr
    assert "1 of 2 lakes failed (broken)" in done.stderr
    assert "Traceback" not in done.stderr
    body = json.loads(done.stdout)
    rows = {row["lake"]: row for row in body["lakes"]}
    assert rows["broken"]["state"] == "failed"
    assert "broken.gpkg" in rows["broken"]["error"]
    assert body["tasks"] == 2
    direct = find_structure(lake.depth, level_m=-0.6096, most=3)
    assert rows["made"]["features"] == {"structure": len(direct)} == body["features"]
    found = read_layer(tmp_path / "out" / "made.gpkg")
    assert found["spot_id"].tolist() == direct["spot_id"].tolist()
    assert shapely.equals_exact(found.geometry.to_numpy(), direct.geometry.to_numpy(), 1e-9).all()
