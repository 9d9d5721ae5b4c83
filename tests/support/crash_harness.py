"""Kill a writing process at its n-th call to the file system, for every n, and look at what it leaves.

A small library (compiled here, put before the C library) counts the calls that change files and ends the process by
SIGKILL just before the n-th; a write may also be torn: half of it reaches the file. Runs where there is a C compiler
and LD_PRELOAD works (Linux). Each kill is a fork of one process that has everything loaded, so it costs about as much
as the write.

    python tests/support/crash_harness.py --most 500 --seed 1
"""

from __future__ import annotations

import argparse
import contextlib
import ctypes
import hashlib
import json
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path

SHIM = r"""
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>
static long left = -1, seen = 0; static int torn = 0, armed = 0;
void shim_arm(long n, int tear) { left = n; torn = tear; seen = 0; armed = 1; }
long shim_seen(void) { return seen; }
static int due(void) { if (!armed) return 0; seen++; return left > 0 && seen == left; }
static void die(void) { kill(getpid(), SIGKILL); for (;;) pause(); }
#define REAL(type, name, ...) static type (*real)(__VA_ARGS__); if (!real) real = dlsym(RTLD_NEXT, name)
ssize_t write(int f, const void *b, size_t n) {
  REAL(ssize_t, "write", int, const void *, size_t);
  if (f > 2 && due()) { if (torn) real(f, b, n / 2); die(); } return real(f, b, n); }
ssize_t pwrite(int f, const void *b, size_t n, off_t o) {
  REAL(ssize_t, "pwrite", int, const void *, size_t, off_t);
  if (due()) { if (torn) real(f, b, n / 2, o); die(); } return real(f, b, n, o); }
ssize_t pwrite64(int f, const void *b, size_t n, off64_t o) {
  REAL(ssize_t, "pwrite64", int, const void *, size_t, off64_t);
  if (due()) { if (torn) real(f, b, n / 2, o); die(); } return real(f, b, n, o); }
#define KILLED(type, name, params, args) type name params { \
  REAL(type, #name, __VA_ARGS_##name); if (due()) die(); return real args; }
#define __VA_ARGS_fsync int
KILLED(int, fsync, (int f), (f))
#define __VA_ARGS_fdatasync int
KILLED(int, fdatasync, (int f), (f))
#define __VA_ARGS_ftruncate int, off_t
KILLED(int, ftruncate, (int f, off_t n), (f, n))
#define __VA_ARGS_ftruncate64 int, off64_t
KILLED(int, ftruncate64, (int f, off64_t n), (f, n))
#define __VA_ARGS_rename const char *, const char *
KILLED(int, rename, (const char *a, const char *b), (a, b))
#define __VA_ARGS_renameat int, const char *, int, const char *
KILLED(int, renameat, (int d, const char *a, int e, const char *b), (d, a, e, b))
#define __VA_ARGS_link const char *, const char *
KILLED(int, link, (const char *a, const char *b), (a, b))
#define __VA_ARGS_linkat int, const char *, int, const char *, int
KILLED(int, linkat, (int d, const char *a, int e, const char *b, int g), (d, a, e, b, g))
#define __VA_ARGS_unlink const char *
KILLED(int, unlink, (const char *a), (a))
#define __VA_ARGS_chmod const char *, mode_t
KILLED(int, chmod, (const char *a, mode_t m), (a, m))
#define __VA_ARGS_mkdir const char *, mode_t
KILLED(int, mkdir, (const char *a, mode_t m), (a, m))
#define OPENS(name) int name(const char *p, int how, ...) { \
  REAL(int, #name, const char *, int, ...); mode_t m = 0; \
  if (how & O_CREAT) { va_list v; va_start(v, how); m = va_arg(v, mode_t); va_end(v); if (due()) die(); } \
  return real(p, how, m); }
OPENS(open)
OPENS(open64)
"""


def compiled(folder: Path) -> Path | None:
    """Compile the library; None where there is no compiler or no way to put it first."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None or not sys.platform.startswith("linux"):
        return None
    source, library = folder / "shim.c", folder / "shim.so"
    source.write_text(SHIM)
    done = subprocess.run(
        [compiler, "-O1", "-shared", "-fPIC", "-o", str(library), str(source), "-ldl"],
        check=False,
        capture_output=True,
    )
    return library if done.returncode == 0 else None


def digest(path: Path) -> dict[str, str]:
    """Layer name -> a checksum of every row of its table, its entry, its index and its own metadata.

    Raises
    ------
    AssertionError
        The file is not sound by SQLite's own check.
    """
    with contextlib.closing(sqlite3.connect(f"file:{path}?mode=rw", uri=True)) as db:
        db.execute("SELECT count(*) FROM sqlite_master").fetchone()
        assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)], f"{path} is damaged"
        found = {}
        for name, *entry in db.execute(
            "SELECT table_name, data_type, identifier, min_x, max_y, srs_id FROM gpkg_contents"
        ):
            total = hashlib.sha256(repr(entry).encode())
            for row in db.execute(f'SELECT * FROM "{name}" ORDER BY 1'):
                total.update(repr(row).encode())
            for (index,) in db.execute(
                "SELECT name FROM sqlite_master WHERE name LIKE ? AND name LIKE '%\\_rowid' ESCAPE '\\'",
                (f"rtree_{name}_%",),
            ):
                total.update(repr(db.execute(f'SELECT count(*) FROM "{index}"').fetchall()).encode())
            with contextlib.suppress(sqlite3.OperationalError):
                said = db.execute(
                    "SELECT metadata FROM gpkg_metadata JOIN gpkg_metadata_reference ON md_file_id = id "
                    "WHERE table_name = ?",
                    (name,),
                )
                total.update(repr(said.fetchall()).encode())
            found[str(name)] = total.hexdigest()
    return found


class Cases:
    """What is written, over what; each case is a name, a file to begin with (or none) and the work."""

    def __init__(self, folder: Path) -> None:
        import geopandas as gpd
        import numpy as np
        import pyproj
        import shapely

        from castshed.toolbox.command.outputs import write_folder
        from castshed.toolbox.depth import DepthSurface
        from castshed.toolbox.layers import write_layers
        from castshed.toolbox.parameters import FolderContents

        crs = pyproj.CRS.from_epsg(32615)

        def points(count, word):
            at = shapely.points(np.arange(count) * 10.0 + 5e5, np.full(count, 4e6))
            return gpd.GeoDataFrame({"name": [f"{word} {k}" for k in range(count)]}, geometry=at, crs=crs)

        def depth(least):
            values = np.add.outer(np.arange(40.0), np.arange(50.0)).astype("f4") + np.float32(least)
            return DepthSurface(values, 5e5, 4.001e6, 5.0, 5.0, crs, 0.1)

        self.old = folder / "old.gpkg"
        write_layers(self.old, {"spots": points(30, "old"), "ramps": points(2, "ramp"), "depth": depth(1.0)})
        self.wal = folder / "wal.gpkg"
        shutil.copyfile(self.old, self.wal)
        with contextlib.closing(sqlite3.connect(self.wal)) as db:
            db.execute("PRAGMA journal_mode = WAL")
            db.execute("PRAGMA wal_autocheckpoint = 0")
            db.execute("CREATE TABLE filler (t TEXT)")
            db.executemany("INSERT INTO filler VALUES (?)", [(f"row {k}" * 20,) for k in range(300)])
            db.commit()
            # As a program leaves it that was killed: pages in the log which are not yet in the file.
            self.wal_files = {e: Path(f"{self.wal}{e}").read_bytes() for e in ("", "-wal")}
        new = points(200, "new")
        plan = {
            "water": new,
            "spots": points(60, "spot"),
            "holds": points(60, "hold"),
            "stops": points(12, "stop"),
            "legs": points(24, "leg"),
            "depth": depth(3.0),
        }
        contents = FolderContents(files={"run.gpx": b"new" * 900}, layers={"plan.gpkg": plan})
        self.all = {
            "first layer of a new file": (None, lambda f: write_layers(f, {"spots": new}, lineage="{}")),
            "layer added": (self.old, lambda f: write_layers(f, {"holds": new}, lineage="{}")),
            "layer replaced": (
                self.old,
                lambda f: write_layers(f, {"spots": new}, replace=True, lineage="{}"),
            ),
            "coverage replaced": (
                self.old,
                lambda f: write_layers(f, {"depth": depth(2.0)}, replace=True, lineage="{}"),
            ),
            "plan of many layers": (self.old, lambda f: write_layers(f, plan, replace=True, lineage="{}")),
            "folder of a plan": (
                self.old,
                lambda f: write_folder(f.parent, contents, replace=True, lineage="{}"),
            ),
            "write-ahead log": (
                self.wal,
                lambda f: write_layers(f, {"spots": new}, replace=True, lineage="{}"),
            ),
        }

    def lay(self, base: Path | None, room: Path) -> Path:
        """Make a folder as the case begins."""
        shutil.rmtree(room, ignore_errors=True)
        room.mkdir()
        file = room / "plan.gpkg"
        if base is self.wal:
            for ending, content in self.wal_files.items():
                Path(f"{file}{ending}").write_bytes(content)
        elif base is not None:
            shutil.copyfile(base, file)
            (room / "run.gpx").write_bytes(b"old" * 900)
        return file


def _forked(work, file, shim, call, torn) -> tuple[int, int]:
    """Run work in a fork; (signal or exit code, calls made)."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        code = 1
        try:
            os.close(reading)
            shim.shim_arm(call, torn)
            work(file)
            calls = shim.shim_seen()
            shim.shim_arm(-1, 0)
            os.write(writing, str(calls).encode())
            code = 0
        finally:
            os._exit(code)
    os.close(writing)
    told = os.read(reading, 64)
    os.close(reading)
    _, status = os.waitpid(child, 0)
    return (os.WTERMSIG(status) if os.WIFSIGNALED(status) else -os.WEXITSTATUS(status)), int(told or 0)


def _faults(file: Path, base: Path | None, old: dict, new: dict, cases: Cases) -> list[str]:
    """What is wrong with what a killed write left, and with the next write there."""
    from castshed.toolbox.layers import list_layers, read_layer, write_layers

    wrong = []
    if not file.exists():
        if base is not None:
            return ["the file is gone"]
    else:
        # A copy, since looking may mend what a journal or a log beside it holds.
        here = digest(file)
        if here not in (old, new):
            mixed = all(here.get(k) in (old.get(k), new.get(k)) for k in {*here, *old, *new})
            wrong.append("layers of the old and the new state are mixed" if mixed else "a layer is neither")
        for name, kind in list_layers(file).items():
            if kind == "features" and not len(read_layer(f"{file}:{name}")):
                wrong.append(f"layer {name} reads empty")
    gpx = file.parent / "run.gpx"
    if gpx.exists() and gpx.read_bytes() not in (b"old" * 900, b"new" * 900):
        wrong.append("run.gpx is neither the old nor the new one")
    before = digest(file) if file.exists() else {}
    write_layers(file, {"afterwards": read_layer(f"{cases.old}:ramps")})
    after = digest(file)
    if set(after) != {*before, "afterwards"} or any(after[k] != v for k, v in before.items()):
        wrong.append("the next write lost a layer or took one that was not there")
    left = sorted(p.name for p in file.parent.iterdir() if p.name not in {"plan.gpkg", "run.gpx"})
    if left:
        wrong.append(f"after the next write {', '.join(left)} still lies there")
    return wrong


def serve(most: int, seed: int) -> dict:
    """Kill at up to `most` calls, spread over all cases by chance; needs the library loaded."""
    shim = ctypes.CDLL(None)
    memory = Path("/dev/shm")  # nothing here waits for a disk: a killed process loses no page the system has
    with tempfile.TemporaryDirectory(dir=memory if os.access(memory, os.W_OK) else None) as folder:
        cases = Cases(Path(folder))
        room = Path(folder) / "room"
        moments, states, calls = [], {}, {}
        for name, (base, work) in cases.all.items():
            file = cases.lay(base, room)
            old = digest(file) if base else {}
            file = cases.lay(base, room)
            ended, made = _forked(work, file, shim, -1, 0)
            assert ended == 0, f"{name} fails without a kill: {ended}"
            states[name] = (old, digest(file))
            assert states[name][0] != states[name][1]
            calls[name] = made
            moments += [(name, call, torn) for call in range(1, made + 1) for torn in (0, 1)]
        random.Random(seed).shuffle(moments)
        kills, lost, faults = 0, 0, []
        for name, call, torn in moments:
            if kills == most:
                break
            base, work = cases.all[name]
            file = cases.lay(base, room)
            ended, _ = _forked(work, file, shim, call, torn)
            # A write may make a call fewer than the one that was counted; it then ends whole, and the next is killed.
            kills += ended == signal.SIGKILL
            wrong = ["not killed"] if ended not in (signal.SIGKILL, 0) else []
            try:
                wrong += _faults(file, base, *states[name], cases)
            except Exception as error:  # noqa: BLE001  # whatever stops the look is a loss
                wrong.append(f"{type(error).__name__}: {error}")
            lost += bool(wrong)
            faults += [f"{name}, call {call}{' torn' * torn}: {w}" for w in wrong]
            if kills % 100 == 0 and ended == signal.SIGKILL:
                print(f"{kills} killed, {lost} lost", file=sys.stderr, flush=True)
    return {
        "kills": kills,
        "kills_lost": lost,
        "calls": calls,
        "moments": len(moments),
        "faults": faults[:20],
    }


def kill_writers(most: int, seed: int, timeout_s: float = 3600.0, *, loud: bool = False) -> dict | None:
    """Run `serve` in a process that has the library loaded, telling how far it is if loud; None where that cannot be."""
    with tempfile.TemporaryDirectory() as folder:
        library = compiled(Path(folder))
        if library is None:
            return None
        run = subprocess.run(
            [sys.executable, "-W", "ignore", __file__, "--serve", "--most", str(most), "--seed", str(seed)],
            env={**os.environ, "LD_PRELOAD": str(library)},
            check=False,
            stdout=subprocess.PIPE,
            stderr=None if loud else subprocess.PIPE,
            text=True,
            timeout=timeout_s,
        )
    if run.returncode:
        raise AssertionError((run.stderr or "see above")[-2000:])
    return json.loads(run.stdout.splitlines()[-1])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--most", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--serve", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    found = serve(given.most, given.seed) if given.serve else kill_writers(given.most, given.seed, loud=True)
    print(json.dumps(found))


if __name__ == "__main__":
    main()
