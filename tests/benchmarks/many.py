"""Many made lakes through find-structure on Dask: two workers beside one, a worker killed, lakes broken, run again."""

from __future__ import annotations

import os
import signal
import tempfile
import threading
import time
from pathlib import Path

import psutil
import shapely

from castshed.toolbox.layers import read_layer, write_layers
from castshed.toolbox.many import over_lakes
from planted import plant

LAKES, QUICK_LAKES = 200, 16
BROKEN, QUICK_BROKEN = 5, 2
TYPED = ["{lake}:depth", "--level", "-2ft", "--from", "4ft", "--to", "25ft"]


def _write_lakes(folder, seed, count):
    folder.mkdir()
    for k in range(count):
        made = plant(1000 * seed + k, slots=2 + k % 2, cell_m=2.5)
        write_layers(folder / f"lake{k:03d}.gpkg", {"depth": made.surface})


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


def _run(lakes, out, workers):
    start = time.perf_counter()
    summary = over_lakes("find-structure", TYPED, [lakes], out, workers=workers)
    return summary, time.perf_counter() - start


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


def measure(seed: int, quick: bool) -> dict:
    """Measure all; see the functions above."""
    count, broken = (QUICK_LAKES, QUICK_BROKEN) if quick else (LAKES, BROKEN)
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as made:
        home = Path(made)
        _write_lakes(home / "lakes", seed, count)
        load = os.getloadavg()[0]
        one, one_s = _run(home / "lakes", home / "one", 1)
        two, two_s = _run(home / "lakes", home / "two", 2)
        assert not one.failed
        assert not two.failed

        killed: list[int] = []
        (home / "hit.lakes").mkdir()
        watch = threading.Thread(target=_kill_one, args=(home / "hit.lakes", count, killed), daemon=True)
        watch.start()
        hit, _ = _run(home / "lakes", home / "hit.gpkg", 2)
        watch.join()
        gathered = read_layer(home / "hit.gpkg")
        lost = doubled = 0
        for outcome in hit.outcomes:
            expected = _rows(home / "one" / f"{outcome.lake}.gpkg")
            mine = gathered[gathered["lake"] == outcome.lake]
            rows = list(zip(mine["spot_id"], shapely.to_wkb(mine.geometry.to_numpy()), strict=True))
            lost += bool(set(expected) - set(rows)) or outcome.state != "done"
            doubled += len(rows) > len(expected)
        again, again_s = _run(home / "lakes", home / "hit.gpkg", 2)

        names = [f"lake{k * count // broken:03d}" for k in range(broken)]
        _break(home / "lakes", names)
        bad, _ = _run(home / "lakes", home / "bad", 2)
        whole = sum(
            _rows(home / "bad" / f"{o.lake}.gpkg") == _rows(home / "one" / f"{o.lake}.gpkg")
            for o in bad.outcomes
            if o.state == "done"
        )
    return {
        "lakes": count,
        "speedup_2_workers": one_s / two_s,
        "one_worker_s": one_s,
        "two_workers_s": two_s,
        "one_worker_busy_share": sum(o.seconds for o in one.outcomes) / one_s,
        "two_workers_busy_share": sum(o.seconds for o in two.outcomes) / two_s / 2,
        "workers_killed": len(killed),
        "lost_after_kill": int(lost),
        "doubled": doubled,
        "broken": broken,
        "broken_named": len({o.lake for o in bad.failed if o.error} & set(names)),
        "others_whole": whole == count - broken,
        "second_run_tasks": again.tasks,
        "second_run_s": again_s,
        "load": load,
        "cores": os.cpu_count(),
    }
