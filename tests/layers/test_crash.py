"""A write that is killed, runs out of room or meets another writer leaves the old layers or the new ones, whole."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import resource
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pytest

import crash_harness
from castshed.toolbox.command.outputs import write_folder
from castshed.toolbox.errors import OutputFailed
from castshed.toolbox.layers import exchange, geopackage, read_layer, read_surface, write_layers
from castshed.toolbox.layers.exchange import temporary_prefix
from castshed.toolbox.parameters import FolderContents
from made_lake import CRS
from two_writers import add_layer, points, same_layer

KILLS = 120


@pytest.fixture
def book(tmp_path, lake):
    file = tmp_path / "book.gpkg"
    write_layers(file, {"spots": points(40, "old"), "depth": lake.depth})
    return file


def left_beside(file):
    return sorted(p.name for p in file.parent.iterdir() if p != file)


@pytest.mark.long
def test_a_writer_killed_at_any_call_leaves_the_old_or_the_new_state_whole():
    """Seeded calls of seven writes; how rollback journals and write-ahead logs are found again: sqlite.org/atomiccommit.html."""
    found = crash_harness.kill_writers(KILLS, seed=1)
    if found is None:
        pytest.skip("needs a C compiler and LD_PRELOAD (Linux)")
    assert found["faults"] == []
    assert found["kills"] == KILLS
    assert found["kills_lost"] == 0
    assert min(found["calls"].values()) > 100


def test_the_harness_sees_a_write_that_is_not_whole(tmp_path):
    """A file changed in place layer by layer is the fault the harness is there for."""
    cases = crash_harness.Cases(tmp_path)
    base, work = cases.all["plan of many layers"]
    file = cases.lay(base, tmp_path / "room")
    old = crash_harness.digest(file)
    work(file)
    new = crash_harness.digest(file)
    cases.lay(base, tmp_path / "room")
    write_layers(file, {"spots": read_layer(f"{cases.old}:ramps")}, replace=True)
    assert "a layer is neither" in crash_harness._faults(file, base, old, new, cases)
    cases.lay(base, tmp_path / "room")
    work(file)
    with contextlib.closing(sqlite3.connect(file)) as db, db:
        db.execute("DELETE FROM legs WHERE fid > 3")
    assert "a layer is neither" in crash_harness._faults(file, base, old, new, cases)
    cases.lay(base, tmp_path / "room")
    content = bytearray(file.read_bytes())
    content[8192:12288] = bytes(4096)
    file.write_bytes(content)
    with pytest.raises((AssertionError, sqlite3.DatabaseError)):
        crash_harness.digest(file)


def test_a_log_beside_the_file_is_folded_in_before_the_file_is_exchanged(tmp_path):
    """A stale write-ahead log is replayed onto whatever file bears the name: sqlite.org/howtocorrupt.html, 2.4."""
    cases = crash_harness.Cases(tmp_path)
    base, work = cases.all["write-ahead log"]
    file = cases.lay(base, tmp_path / "room")
    assert Path(f"{file}-wal").stat().st_size > 0
    work(file)
    assert left_beside(file) == []
    with contextlib.closing(sqlite3.connect(file)) as db:
        assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert db.execute("SELECT count(*) FROM filler").fetchone() == (
            300,
        )  # what only the log held is kept


@pytest.mark.parametrize("ending", ["-wal", "-journal"])
def test_a_new_file_is_not_made_beside_the_log_of_a_lost_one(tmp_path, ending):
    log = tmp_path / f"book.gpkg{ending}"
    log.write_bytes(b"pages of another file")
    with pytest.raises(OutputFailed, match="without its book"):
        write_layers(tmp_path / "book.gpkg", {"spots": points(3)})
    assert left_beside(tmp_path / "book.gpkg") == [log.name]


def test_a_file_in_use_with_a_log_is_not_exchanged(book, monkeypatch):
    monkeypatch.setattr(exchange, "LOCK_WAIT_S", 0.2)
    before = crash_harness.digest(book)
    with contextlib.closing(sqlite3.connect(book)) as other:
        other.execute("PRAGMA journal_mode = WAL")
        other.execute("BEGIN")
        other.execute("SELECT count(*) FROM spots").fetchone()
        with pytest.raises(OutputFailed, match="locked by another program"):
            write_layers(book, {"holds": points(3)})
    assert crash_harness.digest(book) == before


def test_what_a_killed_command_left_is_cleared_by_the_next_and_what_another_machine_has_is_let_be(book):
    run = subprocess.run(
        [sys.executable, "-c", "import os; print(os.getpid())"], capture_output=True, check=True
    )
    dead = int(run.stdout)
    prefix = temporary_prefix()
    names = [
        prefix.replace(f"-{os.getpid()}-", f"-{dead}-") + "a.gpkg",
        ".castshed-00000000-1-b.gpkg",
        prefix + "c.gpkg",
    ]
    for name in names:
        shutil.copyfile(book, book.with_name(name))
    write_layers(book, {"holds": points(3)})
    assert left_beside(book) == sorted(names[1:])
    assert set(geopackage.contents(book)) == {"spots", "depth", "holds"}


@contextlib.contextmanager
def largest_file(size):
    """No file of this process may grow beyond a size; to the writer it is a full disk (EFBIG for ENOSPC)."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_no_room_at_any_size_leaves_the_old_file(book, lake):
    before = book.read_bytes()
    full = 0
    for size in [*np.linspace(0, 1.1 * len(before), 16).astype(int).tolist()]:
        try:
            with largest_file(size):
                write_layers(book, {"spots": points(900, "new"), "depth": lake.depth}, replace=True)
        except OutputFailed as error:
            assert "nothing was changed" in str(error)
            assert book.read_bytes() == before
            full += 1
        assert left_beside(book) == []
    assert full > 10
    with largest_file(20_000), pytest.raises(OutputFailed):
        write_layers(book.with_name("fresh.gpkg"), {"spots": points(900)})
    assert left_beside(book) == []


def test_no_room_for_a_folder_leaves_its_files(tmp_path, book):
    (tmp_path / "run.gpx").write_bytes(b"old")
    contents = FolderContents(files={"run.gpx": b"new" * 30_000}, layers={"book.gpkg": {"stops": points(3)}})
    before = book.read_bytes()
    with largest_file(50_000), pytest.raises(OutputFailed):
        write_folder(tmp_path, contents, replace=True, lineage="{}")
    assert (tmp_path / "run.gpx").read_bytes() == b"old"
    assert book.read_bytes() == before
    assert left_beside(book) == ["run.gpx"]


FULL_DISK = """
import sys, shutil
from pathlib import Path
import geopandas, numpy, shapely
from castshed.toolbox.errors import OutputFailed
from castshed.toolbox.layers import write_layers
book = Path(sys.argv[1]) / "book.gpkg"
shutil.copyfile(sys.argv[2], book)
before = book.read_bytes()
frame = geopandas.GeoDataFrame({"name": ["x" * 200] * 9000}, geometry=shapely.points(numpy.arange(9000.0), 1.0), crs=32615)
for layers in ({"spots": frame}, {"more": frame}):
    try:
        write_layers(book, layers, replace=True)
        sys.exit("the disk was not full")
    except OutputFailed as error:
        print(error)
    assert book.read_bytes() == before
    assert [p.name for p in book.parent.iterdir()] == ["book.gpkg"]
print("kept")
"""


def test_a_full_disk_leaves_the_old_file(tmp_path, book):
    (tmp_path / "disk").mkdir()
    size = 2 * book.stat().st_size + 200_000
    mount = f'mount -t tmpfs -o size={size} tmpfs "$1" && exec "$2" -W ignore -c "$3" "$1" "$4"'
    if (
        not shutil.which("unshare")
        or subprocess.run(
            ["unshare", "-rm", "sh", "-c", 'mount -t tmpfs tmpfs "$1"', "sh", str(tmp_path / "disk")],
            check=False,
            capture_output=True,
        ).returncode
    ):
        pytest.skip("no small file system can be mounted here")
    run = subprocess.run(
        [
            "unshare",
            "-rm",
            "sh",
            "-c",
            mount,
            "sh",
            str(tmp_path / "disk"),
            sys.executable,
            FULL_DISK,
            str(book),
        ],
        check=False,
        capture_output=True,
        text=True,
    )
    assert run.stdout.endswith("kept\n"), run.stdout + run.stderr
    assert "full" in run.stdout or "disk" in run.stdout


READ_ONLY = """
import os, sys
from castshed.toolbox.layers.exchange import check_output
from castshed.toolbox.errors import OutputFailed
from pathlib import Path
if os.getuid() == 0:  # to whom nothing is read-only
    os.setgid(65534)
    os.setuid(65534)
try:
    check_output(Path(sys.argv[1]), ["holds"], replace=False)
except OutputFailed as error:
    print(error)
"""


@pytest.mark.parametrize("what", ["folder", "file"])
def test_what_is_read_only_is_named_before_any_work(what):
    with tempfile.TemporaryDirectory() as room:  # a folder that others may enter
        Path(room).chmod(0o755)
        folder = Path(room) / "lake"
        folder.mkdir()
        file = folder / "book.gpkg"
        write_layers(file, {"spots": points(2)})
        file.chmod(0o444 if what == "file" else 0o666)
        folder.chmod(0o555 if what == "folder" else 0o777)
        before = file.read_bytes()
        program = Path(room) / "program.py"
        program.write_text(READ_ONLY)
        run = subprocess.run(
            [sys.executable, str(program), str(file)], check=False, capture_output=True, text=True
        )
        folder.chmod(0o777)
        assert "read-only" in run.stdout, run.stdout + run.stderr
        assert file.read_bytes() == before
        assert left_beside(file) == []


@pytest.mark.parametrize("fresh", [True, False])
def test_writers_of_one_file_wait_for_each_other(tmp_path, fresh):
    file = tmp_path / "many.gpkg"
    if not fresh:
        write_layers(file, {"spots": points(5)})
    with multiprocessing.get_context("spawn").Pool(2) as pool:
        # A worker that cannot start its task would leave the pool waiting for ever.
        pool.starmap_async(add_layer, [(file, k) for k in range(6)]).get(timeout=120)
        made = pool.starmap_async(same_layer, [(file, k) for k in range(4)]).get(timeout=120)
    assert {k: len(read_layer(f"{file}:layer_{k}")) for k in range(6)} == {k: k + 1 for k in range(6)}
    assert sum(n > 0 for n in made) == 1  # of writers of one name one wins, the others are told
    assert len(read_layer(f"{file}:one")) == max(made)
    assert left_beside(file) == []


def test_a_depth_coverage_survives_a_failed_replacement(book, lake):
    with largest_file(30_000), pytest.raises(OutputFailed):
        write_layers(book, {"depth": lake.depth.shifted(1.0)}, replace=True)
    assert np.array_equal(read_surface(f"{book}:depth").depth_m, lake.depth.depth_m, equal_nan=True)
    assert read_surface(f"{book}:depth").crs == CRS
