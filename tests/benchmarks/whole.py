"""The whole day on one big lake: raw contours, a thousand sites and a forecast to a proved, timed, printed day.

The real flooded valley, its shore made rougher until it has over 80,000 vertices, contoured every 5 m, on over ten
million cells. Cold: nothing is kept from before. Warm: the same day at another level, then in another wind.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import contourpy
import geopandas as gpd
import numpy as np
import shapely

from castshed.toolbox.layers import write_layers
from made_waters import rough_lake
from valley import CRS, POOL_M, flooded_valley, valley_shoreline

HERE = Path(__file__).resolve().parent
STEP_M = 5.0
SITES = 1_000
CANDIDATES = 300  # at least
RATED = (
    500  # rated well enough; of these a third is too thin, too deep, blown out or out of reach of the ramp
)

DAY = """
title = "The whole day"
date = 2031-05-17
zone = "America/New_York"
[lake]
file = "lake.gpkg"
cell = "{cell}m"
[level]
today = "{level}ft"
[wind]
forecast = "{forecast}"
[fishing]
least_rating = {least}
[spots]
sources = ["sites.csv"]
depth_unit = "ft"
[run]
start = "Ramp"
depart = "06:00"
back_by = "14:00"
"""

# Runs alone: the day file in, seconds by step, the peak of this process alone and a fingerprint of the result out.
CHILD_CODE = """
import hashlib, json, os, sys, time, warnings
from pathlib import Path
warnings.simplefilter("ignore")
begin = time.perf_counter()
from castshed.algorithms.export import export
from castshed.algorithms.plan import plan
from castshed.algorithms.plan_sheet import plan_sheet
from castshed.toolbox.plan.day_file import read_day
from castshed.toolbox.command.outputs import write_folder
from castshed.toolbox.cache.store import keeping
folder, name, out = Path(sys.argv[1]), sys.argv[2], Path(sys.argv[3])
took = {}
def lap(what, since):
    took[what] = time.perf_counter() - since
    return time.perf_counter()
at = lap("imports", begin)
with keeping(folder):
    day = read_day(folder / name)
    at = lap("read", at)
    made = plan(day)
    at = lap("plan", at)
    layers = {n: f for n, f in made.layers["plan.gpkg"].items() if len(f)}
    files = plan_sheet(layers, level_m=day.level_m, title=day.title, date=day.date.isoformat())
    at = lap("sheet", at)
    write_folder(out, made, replace=True, lineage="{}")
    for file, content in files.items():
        (out / file).write_bytes(content)
    at = lap("write", at)
seconds, cpu_s = time.perf_counter() - begin, sum(os.times()[:4])
total = hashlib.sha256()
for layer in sorted(layers):
    total.update(layers[layer].to_wkb().to_csv().encode())
for file in sorted(files):
    total.update(files[file])
try:  # the peak of this process alone
    with open("/proc/self/status") as told:
        peak = next(float(line.split()[1]) / 1024.0 for line in told if line.startswith("VmHWM:"))
except OSError:
    peak = None
stops, spots = layers["stops"], layers["spots"]
able = (spots["fishable"] == 1) & (spots["rating"] >= day.fishing.least_rating)  # offered to the day and within reach
sys.path[:0] = sys.argv[4:]
from castshed.algorithms.plan import _depth
from whole_verified import wrong_with
with keeping(folder):
    wrong = wrong_with(out / "plan.gpkg", day, _depth(day)[0])
print(json.dumps({"seconds": seconds, "wrong": wrong, "cpu_s": cpu_s, "steps": took, "peak_mb": peak, "digest": total.hexdigest(),
                  "spots": len(layers["spots"]), "stops": len(stops) - 2,
                  "candidates": int(able.sum())}))
"""


def _contours(surface, lake):
    """Contours of the real bottom within the rough shore."""
    drawn = contourpy.contour_generator(surface.xs, surface.ys[::-1], surface.depth_m[::-1])
    lines, depths = [], []
    for depth in np.arange(STEP_M, float(np.nanmax(surface.depth_m)), STEP_M):
        for line in drawn.lines(float(depth)):
            if len(line) > 1:
                lines.append(shapely.LineString(line))
                depths.append(float(depth))
    inside = shapely.intersection(np.array(lines, dtype=object), lake)
    parts, row = shapely.get_parts(inside, return_index=True)
    keep = (shapely.get_type_id(parts) == shapely.GeometryType.LINESTRING) & ~shapely.is_empty(parts)
    return gpd.GeoDataFrame({"depth_m": np.array(depths)[row[keep]]}, geometry=parts[keep], crs=CRS)


def made_folder(folder, seed, vertices, cells):
    """Write the lake, the list of sites, the forecasts and the day files of three days."""
    rng = np.random.default_rng([seed, vertices])
    lake = rough_lake(valley_shoreline().geometry.iloc[0], vertices, seed)
    surface = flooded_valley()
    west, south, east, north = lake.bounds
    cell = np.sqrt((east - west) * (north - south) / cells) * 0.995
    shapely.prepare(lake)
    points = np.empty((0, 2))
    while len(points) < SITES + 1:
        tried = rng.uniform((west, south), (east, north), (8 * SITES, 2))
        known = surface.at(tried[:, 0], tried[:, 1])
        points = np.concatenate(
            [points, tried[shapely.intersects_xy(lake, tried) & (known > 2.5) & (known < 15.0)]]
        )
    shore = shapely.boundary(lake)
    ramp = shapely.get_point(shapely.shortest_line(shapely.Point(points[-1]), shore), 1)
    write_layers(
        folder / "lake.gpkg",
        {
            "shoreline": gpd.GeoDataFrame({"name": ["valley"]}, geometry=[lake], crs=CRS),
            "contours": _contours(surface, lake),
            "ramps": gpd.GeoDataFrame({"ramp_id": ["r"], "name": ["Ramp"], "min_level_m": [-9.0]}, geometry=[ramp], crs=CRS),
        },
    )  # fmt: skip
    places = gpd.GeoSeries(shapely.points(points[:SITES]), crs=CRS).to_crs(4326)
    kinds = np.array(["brush", "rock pile", "stumps", "hump", "conifer brush"])[rng.integers(0, 5, SITES)]
    rating = rng.uniform(0.5, 5.0, SITES).round(3)
    lines = ["id,lat,lon,kind,rating"] + [
        f"S{k},{p.y:.6f},{p.x:.6f},{kinds[k]},{rating[k]}" for k, p in enumerate(places)
    ]
    (folder / "sites.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    for name, turn in (("calm.csv", 0), ("other.csv", 60)):
        rows = [
            f"2031-05-17T{h:02d}:00-04:00,{(200 + 3 * h + turn) % 360},{4 + h // 3},{6 + h // 2}"
            for h in range(24)
        ]
        (folder / name).write_text(
            "time,wind_from_deg,wind_mph,gust_mph\n" + "\n".join(rows) + "\n", encoding="utf-8"
        )
    least = float(np.sort(rating)[::-1][RATED - 1])
    for name, level, wind in (
        ("day.toml", 0, "calm.csv"),
        ("level.toml", -2, "calm.csv"),
        ("wind.toml", 0, "other.csv"),
    ):
        text = DAY.format(cell=f"{cell:.3f}", level=level, forecast=wind, least=least)
        (folder / name).write_text(text, encoding="utf-8")
    return int(shapely.get_num_coordinates(lake)), POOL_M


def _run(folder, name):
    run = subprocess.run(
        [sys.executable, "-c", CHILD_CODE, str(folder), name, str(folder / f"out_{name}"), str(HERE), str(HERE.parent / "support")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    if run.returncode:
        raise RuntimeError(run.stderr[-3000:])
    return json.loads(run.stdout.splitlines()[-1])


def measure(seed: int, quick: bool) -> dict:
    """Measure the day cold, warm at another level, warm in another wind, and once more as it was."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        vertices, _ = made_folder(folder, seed, 8_000 if quick else 84_000, 1e6 if quick else 1.02e7)
        cold = _run(folder, "day.toml")
        level, wind, again = (_run(folder, name) for name in ("level.toml", "wind.toml", "day.toml"))
    few = min(one["candidates"] for one in (cold, level, wind))
    if few < CANDIDATES and not quick:
        raise RuntimeError(f"only {few} candidates; raise RATED")
    return {
        "cold_s": cold["seconds"],
        "warm_s": max(level["seconds"], wind["seconds"]),
        "warm_level_s": level["seconds"],
        "warm_wind_s": wind["seconds"],
        # of processor, by this process and its children: what a busy machine does not stretch
        "cold_cpu_s": cold["cpu_s"],
        "warm_level_cpu_s": level["cpu_s"],
        "warm_wind_cpu_s": wind["cpu_s"],
        "cells": int(1e6 if quick else 1.02e7),
        "vertices": vertices,
        "sites": SITES,
        "candidates": few,
        "stops": cold["stops"],
        "peak_mb": max(one["peak_mb"] or 0.0 for one in (cold, level, wind)),
        "violations": len([wrong for one in (cold, level, wind) for wrong in one["wrong"]]),
        "same_twice": cold["digest"] == again["digest"],
        "steps": cold["steps"],
        "warm_steps": level["steps"],
        "wind_steps": wind["steps"],
    }
