"""Many lakes at once: nothing lost, nothing doubled, nothing done twice, and one lake harms no other."""

import http.client
import json
import logging
import math
import os
import shutil
import struct
import subprocess
import sys
import urllib.request

import geopandas as gpd
import pytest
import shapely
from distributed import Client
from pyarrow import parquet

from castshed.algorithms.find_structure import find_structure
from castshed.toolbox.errors import CastshedError, CrsError, DataError, FileMissing, OutputExists, UsageError
from castshed.toolbox.lakes import dask_crew as crew
from castshed.toolbox.lakes.many_lakes import check_all_done, find_lakes, over_lakes
from castshed.toolbox.layers import read_layer, write_layers
from castshed.toolbox.layers.geopackage import read_lineage
from castshed.toolbox.steps.steps import Chain
from castshed.toolbox.testing import assert_layer_equal
from made_lake import CRS, frame, make_lake

CIRCLES = ["{lake}:spots", "--radius", "30ft"]
STEPS = """
[rings]
run = "circles"
spots = "{lake}:spots"
radius = "30ft"

[smaller]
run = "shrunk"
circles = "@rings:circles"
by = "2m"
word = "of {name}"
out = "drawn/{name}_small.gpkg"
"""
PLUGIN = '''
import os
import signal
from pathlib import Path
from typing import Annotated

from geopandas import GeoDataFrame

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import POLYGON, Layer, Length, Spots, Words


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


@algorithm(step="share", example="")
def shrunk(
    circles: Annotated[GeoDataFrame, Layer("circles", POLYGON)], *, by_m: Length = 1.0, word: Words = ""
) -> Annotated[GeoDataFrame, Layer("circles", POLYGON)]:
    """Draw smaller circles.

    Parameters
    ----------
    circles
        Circles.
    by_m
        How much smaller.
    word
        What to note.
    """
    return circles.assign(geometry=circles.buffer(-by_m), word=word)
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
    return over_lakes(
        "circles", arguments, where, tmp_path / out, **{"workers": 2, "without_tls": True, **more}
    )


def states(summary):
    return {o.lake: o.state for o in summary.outcomes}


@pytest.mark.long
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


@pytest.mark.long
def test_the_largest_lakes_are_begun_first(tmp_path, calls, address):
    for name, count in (("a", 3), ("b", 900), ("c", 300)):
        write_lake(tmp_path / "lakes" / f"{name}.gpkg", name, count=count)
    assert list(states(run(tmp_path, scheduler=address))) == ["a", "b", "c"]
    begun = sorted((tmp_path / "calls").iterdir(), key=lambda p: p.stat().st_mtime_ns)
    assert [p.name for p in begun] == ["b", "c", "a"]


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
    """Read by Arrow's own reader, not by what wrote it, and held to the format's text.

    GeoParquet 1.0/1.1 (OGC), "Metadata": a key `geo` in the file's metadata with version, primary_column and columns;
    of a column encoding (WKB), geometry_types, crs (PROJJSON) and bbox. WKB is that of OGC 06-103r4, 8.2.
    """
    for name in ("a", "b"):
        write_lake(tmp_path / "lakes" / f"{name}.gpkg", name)
    run(tmp_path, "all.parquet", scheduler=address)
    table = parquet.read_table(tmp_path / "all.parquet")
    told = json.loads(table.schema.metadata[b"geo"])
    assert told["version"] in {"1.0.0", "1.1.0"}
    assert list(told["columns"]) == [told["primary_column"]] == ["geometry"]
    column = told["columns"]["geometry"]
    assert (column["encoding"], column["geometry_types"]) == ("WKB", ["Polygon"])
    assert column["crs"]["id"] == {"authority": "EPSG", "code": CRS.to_epsg()}
    # Circles of 30 ft = 9.144 m round 500000, 500100, 500200 E on 4000000 N.
    assert column["bbox"] == pytest.approx([499_990.856, 3_999_990.856, 500_209.144, 4_000_009.144], abs=1e-6)
    assert table["lake"].to_pylist() == ["a"] * 3 + ["b"] * 3
    assert table["spot_id"].to_pylist() == ["s0", "s1", "s2"] * 2
    for k, content in enumerate(table["geometry"].to_pylist()):
        order, kind, rings, count = struct.unpack("<BIII", content[:13])
        assert (order, kind, rings, len(content)) == (1, 3, 1, 13 + 16 * count)
        x, y = struct.unpack("<dd", content[13:29])
        assert math.hypot(x - 500_000 - 100 * (k % 3), y - 4_000_000) == pytest.approx(9.144, abs=1e-9)
    rows = gpd.read_parquet(tmp_path / "all.parquet")
    assert_layer_equal(
        rows[rows["lake"] == "a"].drop(columns="lake"), read_layer(tmp_path / "all.lakes" / "a.gpkg")
    )
    before = (tmp_path / "all.parquet").stat().st_mtime_ns
    assert run(tmp_path, "all.parquet", scheduler=address).tasks == 0
    assert (tmp_path / "all.parquet").stat().st_mtime_ns == before
    (tmp_path / "mine.parquet").write_bytes(b"somebody's")
    with pytest.raises(OutputExists, match=r"mine\.parquet is already there"):
        run(tmp_path, "mine.parquet", scheduler=address)
    assert (tmp_path / "mine.parquet").read_bytes() == b"somebody's"


def run_steps(tmp_path, out="out", text=STEPS, **more):
    (tmp_path / "steps.toml").write_text(text)
    return over_lakes(
        str(tmp_path / "steps.toml"),
        [],
        [tmp_path / "lakes"],
        tmp_path / out,
        **{"without_tls": True, **more},
    )


@pytest.mark.long
def test_a_steps_file_over_lakes_makes_what_its_steps_make_one_by_one(tmp_path, calls, address):
    for k, name in enumerate(("a", "b")):
        write_lake(tmp_path / "lakes" / f"{name}.gpkg", name, count=2 + k)
    write_lake(tmp_path / "lakes" / "bad.gpkg", "faulty")
    summary = run_steps(tmp_path, scheduler=address)
    assert states(summary) == {"a": "done", "b": "done", "bad": "failed"}
    assert [o.features for o in summary.outcomes[:2]] == [{"circles": 2}, {"circles": 3}]
    assert "ZeroDivisionError: made" in summary.failed[0].error
    assert calls() == {"a": 1, "b": 1, "faulty": 2}  # tried once more
    out = tmp_path / "out"
    left = {
        p.relative_to(out).as_posix()
        for p in out.rglob("*")
        if not p.relative_to(out).parts[0].startswith(".")
    }
    assert left == {f"{n}{rest}" for n in "ab" for rest in ("", "/drawn", f"/drawn/{n}_small.gpkg")}
    found = read_layer(out / "b" / "drawn" / "b_small.gpkg")
    assert found["word"].tolist() == ["of b"] * 3
    # The same file with the names filled in by hand, through run-steps.
    by_hand = tmp_path / "by_hand.toml"
    by_hand.write_text(
        STEPS.replace("{lake}", "lakes/b.gpkg").replace("drawn/{name}_small", "alone").replace("{name}", "b")
    )
    chain = Chain(by_hand, None)
    chain.run()
    assert_layer_equal(found, chain.by_name["smaller"].result)
    # A circle of 9.144 m, 2 m narrower: drawn with 64 corners its area is 64/2 sin(2 pi / 64) r^2, and no corner is lost
    area = 32 * math.sin(2 * math.pi / 64) * (9.144 - 2 / math.cos(math.pi / 64)) ** 2
    assert found.area.to_numpy() == pytest.approx(area, rel=1e-3)


@pytest.mark.long
def test_a_steps_file_over_lakes_does_again_only_what_changed(tmp_path, calls, address):
    for name in ("a", "b"):
        write_lake(tmp_path / "lakes" / f"{name}.gpkg", name)
    assert run_steps(tmp_path, scheduler=address).tasks == 2
    same = STEPS.replace("30ft", "9.144m").replace("[rings]\n", "[rings]\n# a remark\n")
    assert states(run_steps(tmp_path, text=same, scheduler=address)) == {"a": "kept", "b": "kept"}
    with pytest.raises(OutputExists, match="Results of a, b are there"):
        run_steps(tmp_path, text=STEPS.replace("2m", "3m"), scheduler=address)
    write_lake(tmp_path / "lakes" / "b.gpkg", "b", count=5)
    again = run_steps(tmp_path, replace=True, scheduler=address)
    assert states(again) == {"a": "kept", "b": "done"}
    assert calls() == {"a": 1, "b": 2}
    with (tmp_path / "out" / "a" / "drawn" / "a_small.gpkg").open("ab") as file:
        file.write(b"somebody's hand")
    with pytest.raises(OutputExists, match="Results of a are there"):
        run_steps(tmp_path, scheduler=address)
    shutil.rmtree(tmp_path / "out" / "a")
    assert states(run_steps(tmp_path, scheduler=address)) == {"a": "done", "b": "kept"}


@pytest.mark.long
def test_a_worker_that_dies_in_the_midst_of_steps_costs_its_lake_only(tmp_path, calls):
    for name in ("a", "b", "shaky"):
        write_lake(tmp_path / "lakes" / f"{name}.gpkg", name)
    summary = run_steps(tmp_path, workers=1)
    assert states(summary) == dict.fromkeys(("a", "b", "shaky"), "done")
    assert calls() == {"a": 1, "b": 1, "shaky": 2}


@pytest.mark.long
def test_what_steps_leave_is_gathered_with_its_lake(tmp_path, calls, address):
    both = STEPS.replace('radius = "30ft"\n', 'radius = "30ft"\nout = "all.gpkg:large"\n')
    for k, name in enumerate(("a", "b")):
        write_lake(tmp_path / "lakes" / f"{name}.gpkg", name, count=2 + k)
    run_steps(tmp_path, "all.gpkg", text=both, scheduler=address)
    large, small = (read_layer(f"{tmp_path / 'all.gpkg'}:{name}") for name in ("large", "circles"))
    assert large["lake"].tolist() == small["lake"].tolist() == ["a"] * 2 + ["b"] * 3
    assert (large.area > 1.5 * small.area).all()
    told = json.loads(read_lineage(tmp_path / "all.gpkg", "large"))
    assert told["made_by"] == "castshed over-lakes steps.toml"
    assert told["steps"]["smaller"]["by"] == "2m"
    assert told["parameters"]["lakes"] == ["a", "b"]
    run_steps(tmp_path, "all.parquet", scheduler=address, replace=True)
    assert parquet.read_table(tmp_path / "all.parquet")["word"].to_pylist() == ["of a"] * 2 + ["of b"] * 3


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('"{lake}:spots"', '"lakes/a.gpkg:spots"', "name no lake; write {lake}"),
        ('"30ft"', '"30"', "radius.*unit"),
        ('run = "shrunk"', 'run = "nothing"', "no algorithm 'nothing'"),
        ('"drawn/{name}_small.gpkg"', '"/elsewhere/small.gpkg"', "a place in each lake's own folder"),
        ('"drawn/{name}_small.gpkg"', '"../small.gpkg"', "a place in each lake's own folder"),
        ('"drawn/{name}_small.gpkg"', '"{lake}"', "a place in each lake's own folder"),
        ('out = "drawn/{name}_small.gpkg"', "", "No step of .* has an out"),
        (
            'radius = "30ft"\n',
            'radius = "30ft"\nout = "drawn/{name}_small.gpkg"\n',
            "rings and smaller both write",
        ),
        (STEPS, "", "holds no step"),
    ],
)
def test_a_wrong_steps_file_is_told_before_any_work(tmp_path, calls, old, new, told):
    write_lake(tmp_path / "lakes" / "a.gpkg", "a")
    with pytest.raises(UsageError, match=told):
        run_steps(tmp_path, text=STEPS.replace(old, new))
    assert not (tmp_path / "out").exists()


def test_what_cannot_be_done_with_a_steps_file_is_told_before_any_work(tmp_path, calls):
    write_lake(tmp_path / "lakes" / "a.gpkg", "a")
    with pytest.raises(FileMissing, match=r"none\.toml is not there"):
        over_lakes(str(tmp_path / "none.toml"), [], [tmp_path / "lakes"], tmp_path / "out")
    (tmp_path / "steps.toml").write_text(STEPS)
    with pytest.raises(UsageError, match="takes no arguments"):
        over_lakes(str(tmp_path / "steps.toml"), ["--radius", "3ft"], [tmp_path / "lakes"], tmp_path / "out")
    twice = STEPS.replace('radius = "30ft"\n', 'radius = "30ft"\nout = "all.gpkg"\n')
    with pytest.raises(UsageError, match="two layers called circles"):
        run_steps(tmp_path, "all.gpkg", text=twice)
    with pytest.raises(UsageError, match="makes several layers"):
        run_steps(tmp_path, "all.parquet", text=twice.replace('"all.gpkg"', '"all.gpkg:large"'))
    assert {p.name for p in tmp_path.iterdir()} == {"calls", "plugins", "lakes", "steps.toml"}


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


@pytest.mark.long
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


@pytest.mark.long
def test_the_command_runs_a_steps_file(tmp_path, address):
    lake = make_lake(10.0)
    (tmp_path / "lakes").mkdir()
    write_layers(tmp_path / "lakes" / "made.gpkg", {"depth": lake.depth})
    (tmp_path / "steps.toml").write_text(
        '[found]\nrun = "find-structure"\ndepth = "{lake}:depth"\nlevel = "-2ft"\nmost = 3\nout = "found.gpkg"\n'
    )
    typed = f"over-lakes --lakes lakes --out out --scheduler {address} --without-tls --json steps.toml"
    done = subprocess.run(
        [sys.executable, "-m", "castshed.toolbox.cli", *typed.split()],
        cwd=tmp_path, capture_output=True, text=True, env=os.environ | {"CASTSHED_ALGORITHMS": ""}, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    body = json.loads(done.stdout)
    assert (body["runs"], body["tasks"], body["failed"]) == ("steps.toml", 1, 0)
    found = read_layer(tmp_path / "out" / "made" / "found.gpkg")
    direct = find_structure(lake.depth, level_m=-0.6096, most=3)
    assert found["spot_id"].tolist() == direct["spot_id"].tolist()
    assert any(w.startswith("made: found: Ledges") for w in body["warnings"])


INTRUDER = """
import sys
from distributed import Client
from distributed.security import Security

address, kind, mark = sys.argv[1:]
if kind == "tls":
    security = Security.temporary()
    address = address.replace("tcp://", "tls://")
else:
    security, address = None, address.replace("tls://", "tcp://")
def leave(mark):
    open(mark, "w").close()
try:
    with Client(address, security=security, timeout=5) as client:
        client.submit(leave, mark).result(timeout=5)
except BaseException as error:
    print(type(error).__name__)
"""


@pytest.mark.long
def test_nobody_else_on_the_machine_runs_code_through_the_workers_ports(tmp_path):
    """As another account would: with nothing, and with a certificate of one's own making, at every port there is."""
    psutil = pytest.importorskip("psutil")
    before = {place.laddr.port for place in psutil.Process().net_connections() if place.status == "LISTEN"}
    with crew.local_crew(1) as cluster:
        assert cluster.scheduler_address.startswith("tls://127.0.0.1:")
        me = psutil.Process()
        ports = {
            place.laddr.port
            for process in (me, *me.children(recursive=True))
            for place in process.net_connections()
            if place.status == "LISTEN" and place.laddr.port not in before
        }
        assert int(cluster.scheduler_address.rpartition(":")[2]) in ports
        (tmp_path / "intruder.py").write_text(INTRUDER)
        tried = []
        for kind in ("plain", "tls"):
            words = [cluster.scheduler_address, kind, str(tmp_path / f"mark-{kind}")]
            tried.append(
                subprocess.Popen(
                    [sys.executable, tmp_path / "intruder.py", *words], stderr=subprocess.DEVNULL
                )
            )
        for one in tried:
            one.wait(60)
        for port in ports:  # no page is shown either
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/status", timeout=5) as page:
                    raise AssertionError(page.read()[:200])
            except OSError:
                pass
            except http.client.HTTPException:
                pass
        with Client(cluster, set_as_default=False) as client:
            assert client.submit(abs, -7).result(timeout=30) == 7
    assert not list(tmp_path.glob("mark-*"))


@pytest.mark.parametrize(
    "address", ["tcp://127.0.0.1:9", "127.0.0.1:9", "ws://127.0.0.1:9", "TCP://127.0.0.1:9"]
)
def test_a_scheduler_without_tls_is_refused_unless_it_is_wished(tmp_path, calls, address):
    write_lake(tmp_path / "lakes" / "a.gpkg", "a")
    with pytest.raises(UsageError, match=r"without TLS.*--without-tls"):
        run(tmp_path, scheduler=address, without_tls=False)


def test_workers_that_end_as_they_start_are_told_and_no_fault_of_ours(tmp_path, calls, monkeypatch):
    write_lake(tmp_path / "lakes" / "a.gpkg", "a")

    def ended(*args, **kwargs):
        raise RuntimeError("Nanny failed to start.")  # what Dask raises then

    monkeypatch.setattr("distributed.LocalCluster", ended)
    with pytest.raises(CastshedError, match="workers could not be started"):
        run(tmp_path)


def test_a_worker_killed_while_it_starts_is_told(tmp_path):
    """The process that is to become a worker is killed before it is one."""
    code = """
import os, sys, threading, time
import psutil
from castshed.toolbox.lakes.dask_crew import local_crew
from castshed.toolbox.errors import CastshedError

def kill():
    until = time.monotonic() + 60
    while time.monotonic() < until:
        for one in psutil.Process().children(recursive=True):
            try:
                if "spawn_main" in " ".join(one.cmdline()):
                    one.kill()
                    return
            except psutil.Error:
                pass
        time.sleep(0.005)

if __name__ == "__main__":
    threading.Thread(target=kill, daemon=True).start()
    try:
        with local_crew(1):
            print("started")
    except CastshedError as error:
        print("told", error)
"""
    (tmp_path / "kill.py").write_text(code)
    run = subprocess.run(
        [sys.executable, tmp_path / "kill.py"], capture_output=True, text=True, check=False, timeout=120
    )
    assert run.stdout.startswith("told The workers could not be started"), run.stdout + run.stderr


def test_a_lake_whose_name_cannot_be_a_results_fails_alone(tmp_path, calls, address):
    """Of '...gpkg' the name without its ending is '..', the folder above that of the results."""
    lakes = tmp_path / "lakes"
    write_lake(lakes / "a.gpkg", "a")
    odd = ["...gpkg", "..gpkg", ".over-lakes.gpkg", f"{'n' * 230}.gpkg"]
    for name in odd:
        shutil.copy(lakes / "a.gpkg", lakes / name)
    shutil.copy(os.fsencode(lakes / "a.gpkg"), os.fsencode(lakes) + b"/b\xff.gpkg")
    (tmp_path / "list.txt").write_text("\n".join(f"lakes/{name}" for name in ["a.gpkg", *odd]))
    before = sorted(tmp_path.iterdir())
    summary = run_steps(tmp_path, scheduler=address)
    assert states(summary) == {"a": "done", "b\\xff": "failed", "n" * 230: "failed"}
    where = [tmp_path / "list.txt"]
    again = over_lakes(
        str(tmp_path / "steps.toml"), [], where, tmp_path / "out", scheduler=address, without_tls=True
    )
    assert states(again) == {"a": "kept"} | dict.fromkeys(("..", ".", ".over-lakes", "n" * 230), "failed")
    assert {o.code for o in again.failed} == {3}
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == [".over-lakes", "a"]
    assert set(tmp_path.iterdir()) - {*before} == {tmp_path / "out", tmp_path / "steps.toml"}
