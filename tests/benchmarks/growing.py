"""What `growth` measures, one function a thing: size and seed in, {figure: value} out; each runs in a process of its own.

`cpu_s` is processor time: the least of up to five runs, after a small one that compiles or loads the loops.
"""

from __future__ import annotations

import math
import os
import tempfile
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import psutil
import pyproj
import shapely

LEVEL_M = -1.2192  # 4 ft low
SMALL_CELLS = 100_000
ROWS_A_LAKE = 500

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


def _made_lake(cells, seed):
    """Make a lake whose area grows with its cells of 2.5 m: depths, shoreline, contours every 5 ft."""
    from castshed.toolbox.depth import DepthSurface
    from made_bottoms import CELL, STEPS, _pool_of, bottom, tracer

    depth = bottom(1000 * seed, math.isqrt(cells))
    lines = tracer(depth)
    move = (500_000.0, 4_000_000.0)
    found, depths = [], []
    for number in range(1, int(np.nanmax(depth) / STEPS["5ft"]) + 1):
        rings = [line for line in lines.lines(number * STEPS["5ft"]) if len(line) > 3]
        found += [shapely.LineString(line + move) for line in rings]
        depths += [number * STEPS["5ft"]] * len(rings)
    shore = shapely.transform(_pool_of(lines), lambda xy: xy + move)
    crs = pyproj.CRS.from_epsg(32615)
    surface = DepthSurface(
        depth.astype(np.float32), move[0], move[1] + len(depth) * CELL, CELL, CELL, crs, 0.1
    )
    return (
        surface,
        gpd.GeoDataFrame({"name": ["made"]}, geometry=[shore], crs=crs),
        gpd.GeoDataFrame({"depth_m": depths}, geometry=found, crs=crs),
    )


def surface(cells, seed):
    """Depths and their errors from contours every 5 ft: depth-surface."""
    from castshed.algorithms.depth_surface import depth_surface

    def work(lake):
        depth_surface(lake[1], contours=lake[2], cell_m=2.5)

    small, lake = _made_lake(SMALL_CELLS, seed), _made_lake(cells, seed)
    return {"cpu_s": _least(lambda: work(lake), lambda: work(small)), "peak_mb": _peak_mb()}


def structure(cells, seed):
    """Structure found on a rough bottom."""
    from structure import CELL_M, hills

    from castshed.toolbox.depth import DepthSurface
    from castshed.toolbox.water.structure.findings import find_all
    from planted import CRS, plant

    side = math.isqrt(cells)
    lake = DepthSurface(hills(seed, side), 500000.0, 4000000.0, CELL_M, CELL_M, CRS, 0.1)
    small = plant(1, slots=2).surface
    return {"cpu_s": _least(lambda: find_all(lake), lambda: find_all(small)), "peak_mb": _peak_mb()}


def hazards(cells, seed):
    """Water at today's level, and what of it is too thin: water-today and shallow-hazards."""
    from castshed.algorithms.shallow_hazards import shallow_hazards
    from castshed.algorithms.water_today import water_today

    def work(lake):
        water = water_today(lake[0], lake[1], level_m=LEVEL_M)[0]
        shallow_hazards(lake[0], water, level_m=LEVEL_M)

    small, lake = _made_lake(SMALL_CELLS, seed), _made_lake(cells, seed)
    return {"cpu_s": _least(lambda: work(lake), lambda: work(small)), "peak_mb": _peak_mb()}


def files(cells, seed):
    """A depth coverage written into a GeoPackage and read from it."""
    from castshed.toolbox.layers import read_surface, write_layers

    with tempfile.TemporaryDirectory() as place:

        def work(lake):
            write_layers(Path(place) / "lake.gpkg", {"depth": lake[0]}, replace=True)
            read_surface(str(Path(place) / "lake.gpkg"))

        small, lake = _made_lake(SMALL_CELLS, seed), _made_lake(cells, seed)
        cost = _least(lambda: work(lake), lambda: work(small))
        return {"cpu_s": cost, "file_mb": (Path(place) / "lake.gpkg").stat().st_size / 2**20}


def ways(vertices, seed):
    """Mesh of the water and all shortest ways between 100 stops."""
    from ways import _stops

    from castshed.toolbox.water.ways.navigation import SafeWater
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
    from castshed.toolbox.water.runs.tours import tour

    def made(count):
        xy = np.random.default_rng([seed, count]).uniform(0.0, 10_000.0, (count, 2))
        return np.hypot(*(xy[:, None] - xy[None]).T)

    small, cost = made(10), made(stops)
    return {"cpu_s": _least(lambda: tour(cost, end=0), lambda: tour(small, end=0))}


def day(stops, seed):
    """Which of so many candidates, in what order, in eight hours with windows."""
    from castshed.toolbox.water.day.day_search import best_day
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
    from castshed.toolbox.lakes.dask_crew import local_crew
    from castshed.toolbox.lakes.many_lakes import over_lakes

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
            run("first", crew)
            hand_out, work, clock = run("lakes", crew)
            again, _, _ = run("lakes", crew)
    return {"cpu_s": hand_out, "workers_cpu_s": work, "again_cpu_s": again, "clock_s": clock}


def rows(count, seed):  # nothing in it is left to chance
    """Results gathered into one file: GeoParquet, then GeoPackage."""
    from castshed.toolbox.lakes.gathering import gather as gathered
    from castshed.toolbox.lakes.gathering import parts_folder
    from castshed.toolbox.lakes.lake_work import LakeLayer

    class Work:
        name = "made"
        layers = (LakeLayer("spots", ("Point",)),)

    with tempfile.TemporaryDirectory() as place:
        home = Path(place)
        _small_lakes(home, count // ROWS_A_LAKE, ROWS_A_LAKE)
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
