"""How cost grows: three sizes of everything that may become large, the exponent fitted, and what a state would take.

All costs are processor time, each in a process of its own, the least of up to five runs after a small one that
compiles or loads the loops; so they hold on a busy machine, where times by the clock do not. An exponent of 1 is cost
in proportion to size.

What 5,000 lakes would take is reckoned from these figures for one lake of a million cells each, contours to structure;
nothing larger than one machine was measured.
"""

from __future__ import annotations

import math
import multiprocessing
import os
import tempfile
import time
import warnings
from pathlib import Path

import geopandas as gpd
import numpy as np
import psutil
import shapely

TOTAL_CELLS, STATE_LAKES, LARGEST_LAKE_CELLS = 1_000_000, 5_000, 100_000_000
CORES = (2, 64, 1_000)
LEVEL_M = -1.2192  # 4 ft low

PLUGIN = '''
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
    return spots[["spot_id", "geometry"]].assign(geometry=spots.buffer(radius_m))
'''


def _least(work, small=None, times=5, enough_s=2.0):
    """Least processor time of up to so many runs."""
    if small is not None:
        small()
    took = []
    while len(took) < times and sum(took) < enough_s:
        start = time.process_time()
        work()
        took.append(time.process_time() - start)
    return min(took)


def _peak_mb():
    try:
        told = Path("/proc/self/status").read_text(encoding="ascii")
    except OSError:
        return None
    return next(float(line.split()[1]) / 1024.0 for line in told.splitlines() if line.startswith("VmHWM:"))


# One thing each: size and seed in, {figure: value} out -------------------------------------------------------------
def surface(cells, seed):
    """Depths from contours every 5 ft."""
    from castshed.toolbox.water.surface import minimum_curvature
    from made_bottoms import STEPS, bottom, contoured, lattice

    def made(side):
        depth = bottom(1000 * seed, side)
        return lattice(depth), contoured(depth, STEPS["5ft"])

    small, given = made(320), made(math.isqrt(cells))
    return {
        "cpu_s": _least(lambda: minimum_curvature(*given), lambda: minimum_curvature(*small)),
        "peak_mb": _peak_mb(),
    }


def structure(cells, seed):
    """Structure found on a rough bottom."""
    from structure import CELL_M, hills

    from castshed.toolbox.water.depth import DepthSurface
    from castshed.toolbox.water.forms.findings import find_all
    from planted import CRS, plant

    side = math.isqrt(cells)
    lake = DepthSurface(hills(seed, side), 500000.0, 4000000.0, CELL_M, CELL_M, CRS, 0.1)
    small = plant(1, slots=2).surface
    return {"cpu_s": _least(lambda: find_all(lake), lambda: find_all(small)), "peak_mb": _peak_mb()}


def hazards(cells, seed):
    """Water at today's level, and what of it is too thin."""
    from castshed.algorithms.shallow_hazards import shallow_hazards
    from castshed.algorithms.water_today import water_today
    from fine_valley import fine_valley
    from valley import valley_shoreline

    def work(lake):
        water = water_today(lake, valley_shoreline(), level_m=LEVEL_M)[0]
        shallow_hazards(lake, water, level_m=LEVEL_M)

    lake, small = fine_valley(cells, seed), fine_valley(150_000, seed)
    return {"cpu_s": _least(lambda: work(lake), lambda: work(small)), "peak_mb": _peak_mb()}


def ways(vertices, seed):
    """Mesh of the water and all shortest ways between 100 stops."""
    from ways import _stops

    from castshed.toolbox.water.navigation import SafeWater
    from made_waters import rough_lake
    from valley import valley_shoreline

    shore = valley_shoreline().geometry.iloc[0]

    def made(count):
        water = rough_lake(shore, count, seed, islets=min(160, count // 50))
        return water, _stops(water, 100, seed)

    def work(water, stops):
        SafeWater.build(water).ways(stops)

    small, given = made(1_000), made(vertices)
    return {"cpu_s": _least(lambda: work(*given), lambda: work(*small)), "peak_mb": _peak_mb()}


def gather(sites, seed):
    """Lists read and merged into one book; a sixth of the rows as a table, the rest as GPX."""
    from book import SHORE, _lists

    from castshed.algorithms.gather_spots import gather_spots
    from castshed.toolbox.sources import read_source

    def work(folder):
        sources = [read_source(str(folder / name)) for name in ("sites.csv", "marks.gpx")]
        gather_spots(sources, shoreline=SHORE, depth_unit="ft")

    with tempfile.TemporaryDirectory() as place:
        folders = []
        for count in (60, sites):
            folder = Path(place) / str(count)
            folder.mkdir()
            table, marks, _ = _lists(seed, count // 6, count - count // 6)
            (folder / "sites.csv").write_text(table, encoding="utf-8")
            (folder / "marks.gpx").write_text(marks, encoding="utf-8")
            folders.append(folder)
        return {"cpu_s": _least(lambda: work(folders[1]), lambda: work(folders[0]))}


def holds(sites, seed):
    """Where to hold the boat at each of so many points."""
    from castshed.algorithms.boat_hold import boat_hold
    from fine_valley import fine_valley
    from hold_spots import some_spots

    lake = fine_valley(1_000_000, seed)

    def work(spots):
        boat_hold(spots, lake, level_m=LEVEL_M, wind_from_deg=225.0)

    spots = some_spots(lake, sites, 0, 0, seed)
    few = spots.iloc[:20]
    return {"cpu_s": _least(lambda: work(spots), lambda: work(few))}


def tours(stops, seed):
    """A closed tour of scattered stops, the ways between them known."""
    from castshed.toolbox.water.tours import tour

    def made(count):
        xy = np.random.default_rng([seed, count]).uniform(0.0, 10_000.0, (count, 2))
        return np.hypot(*(xy[:, None] - xy[None]).T)

    small, cost = made(10), made(stops)
    return {"cpu_s": _least(lambda: tour(cost, end=0), lambda: tour(small, end=0))}


def day(stops, seed):
    """Which of so many candidates, in what order, in eight hours with windows."""
    from castshed.toolbox.water.day_search import best_day
    from day_cases import made_day

    small, task = made_day(10, seed), made_day(stops, seed)
    return {"cpu_s": _least(lambda: best_day(task, seed=0), lambda: best_day(small, seed=0))}


def _small_lakes(folder, count, rows):
    from castshed.toolbox.layers import write_layers

    points = shapely.points(500_000.0 + 50.0 * np.arange(rows), 4_000_000.0)
    frame = gpd.GeoDataFrame(
        {
            "spot_id": [f"s{k}" for k in range(rows)],
            "name": ["made"] * rows,
            "kind": ["hump"] * rows,
            "depth_m": [3.0] * rows,
        },
        geometry=points,
        crs="EPSG:32615",
    )
    first = folder / "lake00000.gpkg"
    write_layers(first, {"spots": frame})
    content = first.read_bytes()
    for k in range(1, count):
        (folder / f"lake{k:05d}.gpkg").write_bytes(content)


def _below_s():
    """Add up the processor time of the workers."""
    total = 0.0
    for process in psutil.Process().children(recursive=True):
        used = process.cpu_times()
        total += used.user + used.system
    return total


def lakes(count, seed):  # nothing in it is left to chance
    """What over-lakes itself costs: an algorithm that does next to nothing over so many lakes of 3 rows.

    Apart: the process that hands out the lakes (with Dask's scheduler in it), the workers, and the same command again.
    """
    from castshed.toolbox.crew import local_crew
    from castshed.toolbox.many import over_lakes

    with tempfile.TemporaryDirectory() as place:
        home = Path(place)
        for name in ("mine", "lakes", "first"):
            (home / name).mkdir()
        (home / "mine" / "circles.py").write_text(PLUGIN)
        os.environ["CASTSHED_ALGORITHMS"] = str(home / "mine")
        _small_lakes(home / "lakes", count, 3)
        _small_lakes(home / "first", 4, 3)

        def run(name, address):
            begun, below, start = time.process_time(), _below_s(), time.perf_counter()
            typed = ["{lake}:spots", "--radius", "30ft"]
            summary = over_lakes("circles", typed, [home / name], home / f"out_{name}", scheduler=address)
            assert not summary.failed
            return time.process_time() - begun, _below_s() - below, time.perf_counter() - start

        with local_crew(2) as crew:
            run("first", crew.scheduler_address)
            hand_out, work, clock = run("lakes", crew.scheduler_address)
            again, _, _ = run("lakes", crew.scheduler_address)
    return {"cpu_s": hand_out, "workers_cpu_s": work, "again_cpu_s": again, "clock_s": clock}


def rows(count, seed):  # nothing in it is left to chance
    """Results gathered into one file, 500 rows a lake: GeoParquet, then GeoPackage."""
    from castshed.toolbox.gathering import gather as gathered
    from castshed.toolbox.gathering import parts_folder
    from castshed.toolbox.lake_work import LakeLayer

    class Work:
        name = "made"
        layers = (LakeLayer("spots", ("Point",)),)

    with tempfile.TemporaryDirectory() as place:
        home = Path(place)
        _small_lakes(home, count // 500, 500)
        parts = {p.stem: p for p in sorted(home.glob("*.gpkg"))}
        few = dict(list(parts.items())[:1])
        (home / "few").mkdir()
        for name in ("few/all.parquet", "few/all.gpkg"):
            parts_folder(home / name).mkdir(exist_ok=True)
            gathered(Work, few, home / name, replace=True, crs=None, lineage="{}")
        before = _peak_mb()
        result = {}
        for name in ("all.parquet", "all.gpkg"):
            parts_folder(home / name).mkdir(exist_ok=True)
            start = time.process_time()
            gathered(Work, parts, home / name, replace=True, crs=None, lineage="{}")
            result[name.replace("all.", "")] = time.process_time() - start
            if name == "all.parquet" and before is not None:
                result["added_mb"] = _peak_mb() - before
    return {"cpu_s": result.pop("parquet"), "gpkg_cpu_s": result.pop("gpkg"), **result}


SIZES = {
    "surface": (surface, "cells", (250_000, 1_000_000, 4_000_000)),
    "structure": (structure, "cells", (250_000, 1_000_000, 4_000_000)),
    "hazards": (hazards, "cells", (250_000, 1_000_000, 4_000_000)),
    "ways": (ways, "shoreline vertices", (5_000, 20_000, 80_000)),
    "gather": (gather, "sites", (600, 2_400, 9_600)),
    "holds": (holds, "sites", (250, 1_000, 4_000)),
    "tours": (tours, "stops", (50, 150, 450)),
    "day plan": (day, "stops", (50, 150, 450)),
    "over-lakes": (lakes, "lakes", (100, 300, 900)),
    "gathered rows": (rows, "rows", (5_000, 20_000, 80_000)),
}


def exponent(sizes, costs):
    """Fit cost = a size^b; return b."""
    return float(np.polyfit(np.log(sizes), np.log(np.maximum(costs, 1e-4)), 1)[0])


def _one(told):
    name, size, seed = told
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return SIZES[name][0](size, seed)


def _alone(name, size, seed):
    """Measure in a process of its own, which may have children."""
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=_tell, args=(theirs, (name, size, seed)))
    process.start()
    theirs.close()
    try:
        return ours.recv()
    finally:
        process.join()


def _tell(pipe, told):
    pipe.send(_one(told))


def _state(grown):
    """Reckon what 5,000 lakes would take."""

    def at(name, size, figure="cpu_s"):
        one = grown[name]
        first, last = one["sizes"][0], one["sizes"][-1]
        near = (
            last if size > last else first if size < first else min(one["sizes"], key=lambda s: abs(s - size))
        )
        known = one[figure][one["sizes"].index(near)]
        return known * (size / near) ** one["exponent"]

    most = grown["over-lakes"]["sizes"][-1]
    each = at("surface", TOTAL_CELLS) + at("structure", TOTAL_CELLS)
    worker_s = grown["over-lakes"]["workers_cpu_s"][-1] / most
    hand_out_s = grown["over-lakes"]["cpu_s"][-1] / most
    all_rows = 40 * STATE_LAKES
    per_row = {
        f: grown["gathered rows"][f][-1] / grown["gathered rows"]["sizes"][-1] for f in ("cpu_s", "added_mb")
    }
    largest = at("surface", LARGEST_LAKE_CELLS) + at("structure", LARGEST_LAKE_CELLS)
    table = []
    for cores in CORES:
        compute = STATE_LAKES * (each + worker_s) / cores
        handing = STATE_LAKES * hand_out_s
        gathering = all_rows * per_row["cpu_s"]
        table.append(
            {
                "cores": cores,
                "compute_s": compute,
                "handing_out_s": handing,
                "gathering_s": gathering,
                "largest_lake_s": largest,
                "total_s": max(compute, handing, largest) + gathering,
                "bound_by": max(
                    ("compute", compute),
                    ("handing out", handing),
                    ("the largest lake", largest),
                    key=lambda t: t[1],
                )[0],
            }
        )
    return {
        "lakes": STATE_LAKES,
        "cells_a_lake": TOTAL_CELLS,
        "cpu_s_a_lake": each + worker_s,
        "lakes_a_second_handed_out": 1.0 / hand_out_s,
        "cores_kept_busy_at_most": (each + worker_s) / hand_out_s,
        "gathered_rows": all_rows,
        "gathered_mb": all_rows * per_row["added_mb"],
        "largest_lake_cells": LARGEST_LAKE_CELLS,
        "on": table,
    }


def measure(seed: int, quick: bool) -> dict:
    """Measure all; see the functions above."""
    begin = time.perf_counter()
    grown = {}
    for name, (_, what, sizes) in SIZES.items():
        taken = [sizes[0] // 2, sizes[0]] if quick else list(sizes)
        found = [_alone(name, size, seed) for size in taken]
        grown[name] = {"size": what, "sizes": taken}
        grown[name] |= {key: [one[key] for one in found] for key in found[0]}
        grown[name]["exponent"] = exponent(taken, grown[name]["cpu_s"])
    return {
        "growth": grown,
        "state": _state(grown),
        "cores": os.cpu_count(),
        "whole_s": time.perf_counter() - begin,
    }
