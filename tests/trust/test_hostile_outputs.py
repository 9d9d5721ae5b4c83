"""Outputs and lists under hostile names: links, pipes, devices, sockets, long names, names that are not UTF-8."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import pytest
import shapely

from castshed.toolbox.algorithm.catalogue import load
from castshed.toolbox.command.outputs import check_target, lineage_text, write_folder
from castshed.toolbox.errors import CastshedError, DataError, OutputFailed
from castshed.toolbox.intake.logs.log_table import LogFile
from castshed.toolbox.intake.series.series_file import read_series
from castshed.toolbox.lakes.many_lakes import find_lakes
from castshed.toolbox.layers import parse_reference, read_layer, write_layers
from castshed.toolbox.layers.geopackage import contents, read_lineage
from castshed.toolbox.parameters.files import FolderContents
from castshed.toolbox.plan.day_file import read_day
from castshed.toolbox.sources import read_source
from castshed.toolbox.steps.steps_file import read_tables

DEMO = Path("demo_layers").absolute()


def places(*names: str) -> gpd.GeoDataFrame:
    at = [shapely.Point(500_000 + 10 * k, 4_000_000) for k in range(len(names))]
    return gpd.GeoDataFrame({"spot_id": list(names)}, geometry=at, crs=32615)


def run(*words: str | bytes, cwd: Path | bytes) -> subprocess.CompletedProcess[bytes]:
    code = "from castshed.toolbox.cli import main; main()"
    return subprocess.run([sys.executable, "-c", code, *words], cwd=cwd, capture_output=True, timeout=60, check=False)  # fmt: skip


def special(folder: Path, kind: str) -> Path:
    if kind == "device":
        return Path("/dev/null")
    path = folder / kind
    if kind == "pipe":
        os.mkfifo(path)
    else:
        with socket.socket(socket.AF_UNIX) as door:
            door.bind(str(path))
    return path


class TestLinks:
    def test_a_geopackage_is_written_through_a_link_of_a_link_into_its_own_folder(self, tmp_path):
        far = tmp_path / "far"
        far.mkdir()
        write_layers(far / "lake.gpkg", {"old": places("a")})
        (tmp_path / "middle.gpkg").symlink_to("far/lake.gpkg")
        (tmp_path / "near.gpkg").symlink_to("middle.gpkg")
        write_layers(tmp_path / "near.gpkg", {"new": places("b", "c")})
        assert (tmp_path / "near.gpkg").is_symlink()
        assert (tmp_path / "middle.gpkg").is_symlink()
        assert set(contents(far / "lake.gpkg")) == {"old", "new"}
        assert sorted(p.name for p in far.iterdir()) == ["lake.gpkg"]

    def test_a_folder_and_the_files_in_it_are_written_through_links(self, tmp_path):
        far, real = tmp_path / "far", tmp_path / "real"
        far.mkdir()
        real.mkdir()
        (far / "run.gpx").write_bytes(b"old")
        write_layers(far / "plan.gpkg", {"old": places("a")})
        (tmp_path / "near").symlink_to("real")
        (real / "run.gpx").symlink_to(far / "run.gpx")
        (real / "plan.gpkg").symlink_to(far / "plan.gpkg")
        made = FolderContents(layers={"plan.gpkg": {"spots": places("b")}}, files={"run.gpx": b"new"})
        write_folder(tmp_path / "near", made, replace=True, lineage="")
        assert (tmp_path / "near").is_symlink()
        assert (real / "run.gpx").is_symlink()
        assert (far / "run.gpx").read_bytes() == b"new"
        assert set(contents(far / "plan.gpkg")) == {"old", "spots"}
        assert sorted(p.name for p in far.iterdir()) == ["plan.gpkg", "run.gpx"]

    @pytest.mark.parametrize(("leads", "said"), [("nowhere.gpkg", "not there"), ("near.gpkg", "in a ring")])
    def test_a_link_to_nothing_or_to_itself_is_refused_and_stays(self, tmp_path, leads, said):
        near = tmp_path / "near.gpkg"
        near.symlink_to(leads)
        with pytest.raises(OutputFailed, match=said):
            write_layers(near, {"spots": places("a")}, replace=True)
        with pytest.raises(OutputFailed, match=said):
            check_target(load("export"), str(near), replace=True)
        assert near.is_symlink()
        assert [p.name for p in tmp_path.iterdir()] == ["near.gpkg"]


class TestPlaces:
    @pytest.mark.parametrize("folder", ["a:b", "it's", 'say "so"', "a b;c", "50%", "q?x#y", "C:"])
    def test_a_folder_of_any_name_holds_an_output(self, tmp_path, folder):
        home = tmp_path / folder
        home.mkdir()
        given = parse_reference(f"{home}/plan.gpkg:stops")
        assert (given.path, given.layer) == (home / "plan.gpkg", "stops")
        for _ in range(2):
            write_layers(given.path, {"stops": places("a", "b")}, replace=True, lineage='{"x": 1}')
        assert read_lineage(given.path, "stops") == '{"x": 1}'
        again = parse_reference(str(given.path))
        assert (again.path, again.layer) == (given.path, None)
        assert list(read_layer(f"{given.path}:stops")["spot_id"]) == ["a", "b"]
        assert [p.name for p in home.iterdir()] == ["plan.gpkg"]

    @pytest.mark.parametrize("name", ["n" * 251 + ".gpkg", "ö" * 125 + ".gpkg", "n" * 400 + ".gpkg", "n" * 400 + "/x.gpkg"])  # fmt: skip
    def test_a_name_too_long_is_refused(self, tmp_path, name):
        with pytest.raises(OutputFailed, match=r"bytes|cannot be written|not there"):
            write_layers(tmp_path / name, {"spots": places("a")})
        assert list(tmp_path.iterdir()) == []

    def test_a_name_of_the_stated_length_is_written(self, tmp_path):
        for _ in range(2):
            write_layers(tmp_path / ("n" * 235 + ".gpkg"), {"s" * 63: places("a")}, replace=True)
        assert [p.name for p in tmp_path.iterdir()] == ["n" * 235 + ".gpkg"]

    @pytest.mark.parametrize("name", ["n" * 300, "n" * 300 + "/x"])
    def test_a_long_name_of_anything_read_is_no_fault_of_ours(self, tmp_path, name):
        place = tmp_path / name
        readers = (
            lambda: read_day(place),
            lambda: read_tables(place),
            lambda: read_source(str(place)),
            lambda: LogFile(place),
            lambda: read_series(place, "levels"),
            lambda: find_lakes([place]),
        )
        for read in readers:
            with pytest.raises(CastshedError):
                read()


@pytest.mark.parametrize("kind", ["pipe", "socket", "device"])
class TestNoFile:
    def test_it_is_never_written_to(self, tmp_path, kind):
        place = special(tmp_path, kind)
        (tmp_path / "lake.gpkg").symlink_to(place)
        with pytest.raises(OutputFailed, match=kind):
            write_layers(tmp_path / "lake.gpkg", {"spots": places("a")}, replace=True)
        folder = tmp_path / "plan"
        folder.mkdir()
        (folder / "run.gpx").symlink_to(place)
        with pytest.raises(OutputFailed, match=kind):
            write_folder(folder, FolderContents(files={"run.gpx": b"new"}), replace=True, lineage="")
        assert [p.name for p in folder.iterdir()] == ["run.gpx"]

    def test_it_is_refused_before_it_is_opened(self, tmp_path, kind):
        place = special(tmp_path, kind)
        readers = (
            lambda: read_day(place),
            lambda: read_tables(place),
            lambda: read_source(str(place)),
            lambda: LogFile(place),
            lambda: read_series(place, "levels"),
            lambda: read_series(place, "forecast"),
            lambda: find_lakes([place]),
        )
        for read in readers:
            with pytest.raises(DataError, match=kind):
                read()

    def test_a_command_ends_at_once(self, tmp_path, kind):
        place = special(tmp_path, kind)
        for words in (["plan", str(place), "--out", "p"], ["run-steps", str(place)]):
            ended = run(*words, cwd=tmp_path)
            assert ended.returncode == 3
            assert kind in ended.stderr.decode()


class TestNamesThatAreNotUtf8:
    """POSIX takes any bytes but the slash and NUL in a file's name."""

    def test_lineage_and_sources_write_the_byte(self, tmp_path):
        odd = tmp_path / os.fsdecode(b"caf\xe9.csv")
        odd.write_text("name,lat,lon,depth\nrock,38,-94,10ft\n")
        assert read_source(str(odd)).name == r"caf\xe9.csv"
        text = lineage_text(load("water-today"), {"depth": str(odd)}, {})
        assert json.loads(text.encode())["inputs"]["depth"] == str(odd)

    def test_layers_are_refused_before_any_work(self, tmp_path):
        home = tmp_path / os.fsdecode(b"caf\xe9")
        home.mkdir()
        with pytest.raises(OutputFailed, match=r"caf\\xe9.*not UTF-8"):
            write_layers(home / "x.gpkg", {"spots": places("a")})
        with pytest.raises(OutputFailed, match=r"caf\\xe9.*not UTF-8"):
            check_target(load("plan"), str(home / "p"), replace=False)
        assert list(home.iterdir()) == []

    def test_files_are_written_there_and_told_in_json(self, tmp_path):
        out = os.fsencode(tmp_path) + b"/caf\xe9"
        ended = run("export", f"{DEMO}/reservoir.gpkg:ramps", "--out", out, "--json", cwd=tmp_path)
        assert ended.returncode == 0, ended.stderr
        assert os.fsencode(json.loads(ended.stdout)["out"]) == out
        assert list(Path(os.fsdecode(out)).iterdir())
        again = run("export", f"{DEMO}/reservoir.gpkg:ramps", "--out", out, cwd=tmp_path)
        assert again.returncode == 4
        shown = run("export", f"{DEMO}/reservoir.gpkg:ramps", "--out", out, "--replace", cwd=tmp_path)
        assert shown.returncode == 0, shown.stderr
        assert b"Traceback" not in shown.stderr + again.stderr
