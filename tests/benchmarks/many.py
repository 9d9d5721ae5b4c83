"""Many made lakes through find-structure on Dask: two workers beside one, a worker killed, lakes broken, run again.

One crew of one worker and one of two stand ready, and blocks of lakes go to them in turn (one, two, two, one, ...), so
that what else the machine does falls on both; the speed-up is the median of the blocks' ratios. Starting the workers
and their first lake (imports, compiled loops loaded) is timed apart, and a speed-up with it is given too. What two
processes can do on the machine at all is measured beside: a pure numpy loop, and the same lakes without Dask.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import statistics
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
import psutil
import shapely

from castshed.toolbox.lakes.dask_crew import local_crew
from castshed.toolbox.lakes.lake_arguments import algorithm_work
from castshed.toolbox.lakes.lake_work import Job, run_lake
from castshed.toolbox.lakes.many_lakes import over_lakes
from castshed.toolbox.layers import read_layer, write_layers
from planted import plant

LAKES, QUICK_LAKES = 200, 16
BLOCKS, QUICK_BLOCKS = 5, 2  # of an even number of lakes, so that neither of two workers is left without
BROKEN, QUICK_BROKEN = 5, 2
PLAIN = 16  # lakes without Dask
TYPED = ["{lake}:depth", "--level", "-2ft", "--from", "4ft", "--to", "25ft"]


def _write_lake(told):
    path, seed, slots = told
    write_layers(Path(path), {"depth": plant(seed, slots=slots, cell_m=2.5).surface})


def _write_lakes(folder, seed, count):
    folder.mkdir(parents=True)
    told = [(str(folder / f"lake{k:03d}.gpkg"), 1000 * seed + k, 2 + k % 2) for k in range(count)]
    with multiprocessing.get_context("spawn").Pool(2) as pool:
        pool.map(_write_lake, told, chunksize=4)
    return [Path(path) for path, *_ in told]


def _break(folder, names):
    """Break lakes, each in another way."""
    for k, name in enumerate(names):
        path = folder / f"{name}.gpkg"
        content = path.read_bytes()
        path.unlink()
        if k % 4 == 0:
            path.write_text("no database")
        elif k % 4 == 1:
            path.write_bytes(content[: len(content) // 3])
        elif k % 4 == 2:
            path.write_bytes(b"")
        else:
            import geopandas as gpd

            points = gpd.GeoDataFrame({"x": [1]}, geometry=[shapely.Point(0, 0)], crs="EPSG:32615")
            write_layers(path, {"points": points})


def _run(lakes, out, **crew):
    start = time.perf_counter()
    summary = over_lakes("find-structure", TYPED, lakes, out, **crew)
    return summary, time.perf_counter() - start


# What the machine can do ---------------------------------------------------------------------------------------------
def _spin(amount):
    """Do work within a core's own memory, on one thread."""
    x = np.linspace(0.0, 1.0, 4096)
    total = 0.0
    for _ in range(amount):
        total += float(np.sqrt(x * x + 1.0).sum())
    return total


def _timed(pool, work, *parts):
    start = time.perf_counter()
    pool.map(work, parts, chunksize=1)
    return time.perf_counter() - start


def _do_jobs(jobs):
    return [run_lake(job).state for job in jobs]


def _jobs(paths, out):
    work = algorithm_work("find-structure", TYPED, "")
    out.mkdir()
    records = out / ".records"
    return [
        Job(p.stem, work, work.given(p.stem, p), out / p.name, records / f"{p.stem}.json", "") for p in paths
    ]


def _machine(home, paths):
    """Measure how much more two processes do than one: a numpy loop, and lakes without Dask."""
    jobs = _jobs(paths, home / "plain")
    numpy_ratios, plain_ratios = [], []
    with multiprocessing.get_context("spawn").Pool(2) as pool:
        _timed(pool, _do_jobs, jobs[:1], jobs[1:2])  # imports, compiled loops
        _timed(pool, _do_jobs, jobs[:1], jobs[1:2])
        amount = 30_000
        for turn in range(3):
            pair = [(amount,), (amount, amount)][:: 1 if turn % 2 else -1]
            took = {len(parts): _timed(pool, _spin, *parts) for parts in pair}
            numpy_ratios.append(2.0 * took[1] / took[2])
            half = len(jobs) // 2
            pair = [(jobs,), (jobs[:half], jobs[half:])][:: 1 if turn % 2 else -1]
            took = {len(parts): _timed(pool, _do_jobs, *parts) for parts in pair}
            plain_ratios.append(took[1] / took[2])
    return statistics.median(numpy_ratios), statistics.median(plain_ratios)


# Two workers beside one ----------------------------------------------------------------------------------------------
def _busy_s():
    """Add up the processor time of this process and all below it."""
    total = 0.0
    for process in [psutil.Process(), *psutil.Process().children(recursive=True)]:
        with contextlib.suppress(psutil.Error):
            used = process.cpu_times()
            total += used.user + used.system
    return total


def _paired(home, paths, first, blocks):
    """Run all lakes on a crew of one and on a crew of two, block by block in turn."""
    parts = [list(part) for part in np.array_split(np.array(paths, dtype=object), blocks)]
    took = {1: [], 2: []}
    busy = {1: 0.0, 2: 0.0}
    inside = {1: 0.0, 2: 0.0}
    start_up = {}
    with contextlib.ExitStack() as stack:
        crews = {}
        for workers in (1, 2):
            start = time.perf_counter()
            crews[workers] = stack.enter_context(local_crew(workers))
            _run(first[:workers], home / f"first{workers}", scheduler=crews[workers])
            start_up[workers] = time.perf_counter() - start
        for k, part in enumerate(parts):
            for workers in ((1, 2), (2, 1))[k % 2]:
                before = _busy_s()
                out = home / ("one" if workers == 1 else "two")
                summary, seconds = _run(part, out, scheduler=crews[workers])
                assert not summary.failed
                took[workers].append(seconds)
                busy[workers] += _busy_s() - before
                inside[workers] += sum(o.seconds for o in summary.outcomes)
    one_s, two_s = sum(took[1]), sum(took[2])
    ratios = [a / b for a, b in zip(took[1], took[2], strict=True)]
    return {
        "speedup_2_workers": statistics.median(ratios),
        "speedup_least_block": min(ratios),
        "speedup_most_block": max(ratios),
        "speedup_with_start_up": (start_up[1] + one_s) / (start_up[2] + two_s),
        "one_worker_s": one_s,
        "two_workers_s": two_s,
        "start_up_1_worker_s": start_up[1],
        "start_up_2_workers_s": start_up[2],
        "one_worker_busy_share": inside[1] / one_s,
        "two_workers_busy_share": inside[2] / two_s / 2,
        "cpu_s_one_worker": busy[1],
        "cpu_s_two_workers": busy[2],
    }


# A worker killed, lakes broken ---------------------------------------------------------------------------------------
def _kill_one(folder, count, killed):
    """Kill a worker once half of the lakes are there."""
    while sum(1 for _ in folder.glob("lake*.gpkg")) < count // 2:
        time.sleep(0.02)
    workers = [p for p in psutil.Process().children() if "spawn_main" in " ".join(p.cmdline())]
    os.kill(workers[0].pid, signal.SIGKILL)
    killed.append(workers[0].pid)


def _rows(path):
    frame = read_layer(path)
    return list(zip(frame["spot_id"], shapely.to_wkb(frame.geometry.to_numpy()), strict=True))


def _hit(home, lakes, count):
    """Kill one of two workers half-way; then run the same again."""
    killed: list[int] = []
    (home / "hit.lakes").mkdir()
    watch = threading.Thread(target=_kill_one, args=(home / "hit.lakes", count, killed), daemon=True)
    watch.start()
    hit, _ = _run([lakes], home / "hit.gpkg", workers=2)
    watch.join()
    gathered = read_layer(home / "hit.gpkg")
    lost = doubled = 0
    for outcome in hit.outcomes:
        expected = _rows(home / "one" / f"{outcome.lake}.gpkg")
        mine = gathered[gathered["lake"] == outcome.lake]
        rows = list(zip(mine["spot_id"], shapely.to_wkb(mine.geometry.to_numpy()), strict=True))
        lost += bool(set(expected) - set(rows)) or outcome.state != "done"
        doubled += len(rows) > len(expected)
    again, again_s = _run([lakes], home / "hit.gpkg", workers=2)
    return {
        "workers_killed": len(killed),
        "lakes_after_kill": len(hit.outcomes),
        "lost_after_kill": int(lost),
        "doubled": doubled,
        "second_run_tasks": again.tasks,
        "second_run_s": again_s,
    }


def _bad(home, lakes, count, broken):
    """Break some lakes and run all."""
    names = [f"lake{k * count // broken:03d}" for k in range(broken)]
    _break(lakes, names)
    bad, _ = _run([lakes], home / "bad", workers=2)
    whole = sum(
        _rows(home / "bad" / f"{o.lake}.gpkg") == _rows(home / "one" / f"{o.lake}.gpkg")
        for o in bad.outcomes
        if o.state == "done"
    )
    return {
        "broken": broken,
        "broken_named": len({o.lake for o in bad.failed if o.error} & set(names)),
        "others_whole": whole == count - broken,
    }


def measure(seed: int, quick: bool) -> dict:
    """Measure all; see the functions above."""
    count, broken, blocks = (QUICK_LAKES, QUICK_BROKEN, QUICK_BLOCKS) if quick else (LAKES, BROKEN, BLOCKS)
    begin = time.perf_counter()
    load = os.getloadavg()[0]
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as made:
        home = Path(made)
        paths = _write_lakes(home / "lakes", seed, count)
        numpy_ratio, plain_ratio = _machine(home, paths[: PLAIN // (2 if quick else 1)])
        first = _write_lakes(home / "first", seed + 500, 2)
        speed = _paired(home, paths, first, blocks)
        killed = _hit(home, home / "lakes", count)
        bad = _bad(home, home / "lakes", count, broken)
    return {
        "lakes": count,
        **speed,
        "machine_2_processes_numpy": numpy_ratio,
        "machine_2_processes_lakes_without_dask": plain_ratio,
        **killed,
        **bad,
        "load": load,
        "cores": os.cpu_count(),
        "whole_s": time.perf_counter() - begin,
    }
