"""Holds: errors on rough ground beside the deepest-cell rule, time and memory on ten million cells, and a recheck."""

from __future__ import annotations

import json
import pickle
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import shapely
from scipy.ndimage import gaussian_filter

from castshed.algorithms.boat_hold import boat_hold
from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.water.hold_lines.drawn_lines import hold_lines
from castshed.toolbox.water.holds.casting import find_holds
from castshed.toolbox.water.holds.hold_rules import HoldRules, Setting, Surroundings
from fine_valley import fine_valley, ramps_at, water_at
from hold_line_recheck import line_breaches
from hold_recheck import breaches
from hold_spots import some_hazards, some_spots
from valley import CRS

X0, Y0 = 500_000.0, 4_000_000.0
LEVELS_M = (0.0, -1.2192, -3.0)
WINDS_DEG = (None, 225.0, 10.0)
CAST_M, LEAST_M, MOST_M = 21.3, 12.2, 27.4  # of HoldRules
HALF_M = 60.0
CELLS_M = (1.0, 2.0, 5.0, 10.0)


def _slope(along, _):
    return 10 + 0.08 * along


def _ridge(along, across):
    """A tip that falls away along its axis, with flanks that fall faster."""
    flank = 0.15 * np.abs(across) * np.exp(-np.maximum(along, 0) / 60)
    return 4 + 0.05 * along + 0.02 * np.maximum(along, 0) + flank


def _deepest(lake, x, y):
    """Bearing by the rule of thumb: towards the deepest cell within a cast."""
    dx, dy = np.meshgrid(lake.xs - x, lake.ys - y)
    off = np.hypot(dx, dy)
    best = np.where((off >= LEAST_M) & (off <= MOST_M), lake.depth_m, -np.inf).argmax()
    return np.arctan2(dx.flat[best], dy.flat[best])


def _roughness(rng, shape, rms_m, width):
    """Noise of a root mean square; with a width, in cells, its humps and hollows are about that wide."""
    noise = rng.standard_normal(shape)
    if width:
        noise = gaussian_filter(noise, width / 2, mode="wrap")
    return noise * (rms_m / noise.std())


def _errors(form, rms_m, seed, count, wide_m=0.0):
    """Distance of holds, by castshed and by the deepest cell, from the place straight off the true deep side."""
    ours, rival = np.empty(count), np.empty(count)
    for k in range(count):
        rng = np.random.default_rng([seed, k])
        cell_m = CELLS_M[k % len(CELLS_M)]
        side = int(2 * HALF_M / cell_m)
        centre = -HALF_M + (np.arange(side) + 0.5) * cell_m
        east, north = np.meshgrid(centre, -centre)
        turn, dx, dy = rng.random() * 2 * np.pi, *rng.random(2)
        sin, cos = np.sin(turn), np.cos(turn)
        u, v = (east - dx) * sin + (north - dy) * cos, (east - dx) * cos - (north - dy) * sin
        depth = form(u, v) + _roughness(rng, u.shape, rms_m, wide_m / cell_m)
        lake = DepthSurface(depth.astype("f4"), X0 - HALF_M, Y0 + HALF_M, cell_m, cell_m, CRS)
        x, y = X0 + dx, Y0 + dy
        mark = np.array([shapely.Point(x, y)], dtype=object)
        around = Surroundings(mark, np.array([8.0]), np.empty(0, dtype=object), np.empty(0))
        found = find_holds(mark, Setting(lake, 0.0, HoldRules(), around))
        ours[k] = np.hypot(found.x[0] - x - CAST_M * sin, found.y[0] - y - CAST_M * cos)
        ours[k] = np.inf if np.isnan(ours[k]) else ours[k]
        other = _deepest(lake, x, y)
        rival[k] = CAST_M * np.hypot(np.sin(other) - sin, np.cos(other) - cos)
    return ours, rival


def _accuracy(seed, quick):
    """Roughness without and, which is harder, with humps and hollows half a cast wide."""
    count = 100 if quick else 1000
    result = {"accuracy_seeds": count}
    for name, form, rms_m, wide_m in (
        ("rough", _slope, 0.1, 0.0),
        ("ridge", _ridge, 0.05, 0.0),
        ("rough_wide", _slope, 0.1, 10.0),
        ("ridge_wide", _ridge, 0.05, 10.0),
    ):
        ours, rival = _errors(form, rms_m, seed, count, wide_m)
        for who, errors in (("", ours), ("deepest_cell_", rival)):
            result[f"{name}_{who}median_m"] = float(np.median(errors))
            result[f"{name}_{who}p95_m"] = float(np.percentile(errors, 95))
    return result


# Runs alone, so that its peak memory is its own: the surface and the spots from files, seconds and megabytes on stdout.
CHILD_CODE = """
import json, pickle, statistics, sys, time
import numpy as np
from castshed.algorithms.boat_hold import boat_hold
from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.water.hold_lines.drawn_lines import hold_lines
given = pickle.load(open(sys.argv[2], "rb"))
lake = DepthSurface(np.load(sys.argv[1]), *given["frame"])
seconds = {}
def timed(name, work):
    took, used = [], []
    for _ in range(3):
        start, begun = time.perf_counter(), time.process_time()
        work()
        took.append(time.perf_counter() - start)
        used.append(time.process_time() - begun)
    seconds[name + "_s"], seconds[name + "_cpu_s"] = statistics.median(took), statistics.median(used)
for name, spots in given["spots"].items():
    timed(name, lambda: boat_hold(spots, lake, level_m=-1.2192, wind_from_deg=225.0))
timed("lines_300", lambda: hold_lines(given["ledges"], lake, level_m=-1.2192))
try:  # the peak of this process alone; that of the system's accounting begins at the parent's
    with open("/proc/self/status") as told:
        peak = next(float(line.split()[1]) / 1024.0 for line in told if line.startswith("VmHWM:"))
except OSError:
    peak = None
print(json.dumps({**seconds, "peak_mb": peak}))
"""


def _speed(lake, seed):
    """Whole calls of boat-hold, checks of the layers and reasons included, once the surface is loaded."""
    spots = {
        "points_1100": some_spots(lake, 1100, 0, 0, seed),
        "polygons_1100": some_spots(lake, 0, 0, 1100, seed + 1),
    }
    frame = (lake.west_m, lake.north_m, lake.cell_x_m, lake.cell_y_m, lake.crs, lake.error_m)
    ledges = some_spots(lake, 0, 300, 0, seed + 2)
    with tempfile.TemporaryDirectory() as folder:
        cells, rest = Path(folder) / "depth.npy", Path(folder) / "rest.pickle"
        np.save(cells, lake.depth_m)
        rest.write_bytes(pickle.dumps({"frame": frame, "spots": spots, "ledges": ledges}))
        run = subprocess.run(
            [sys.executable, "-c", CHILD_CODE, str(cells), str(rest)],
            capture_output=True,
            text=True,
            check=True,
        )
    return json.loads(run.stdout)


def _violations(lake, seed, quick):
    """Every hold, line of cast and hold line of points, lines and polygons, checked by code of its own."""
    count = (110, 30, 30) if quick else (1100, 300, 300)
    wrong, checked, rows, rules, lines_m = 0, 0, 0, set(), 0.0
    for k, (level_m, wind_deg) in enumerate(zip(LEVELS_M, WINDS_DEG, strict=True)):
        spots = some_spots(lake, *count, seed + 10 + k)
        hazards = some_hazards(spots, seed + 20 + k)
        water, ramps = water_at(level_m), ramps_at(level_m)
        asked = {"wind_from_deg": wind_deg, "level_error_m": 0.1 * k, "most_holds": 1 + k}
        holds, lines = boat_hold(
            spots, lake, level_m=level_m, known_hazards=hazards, water=water, ramps=ramps, **asked
        )
        found, ok = breaches(
            holds, lines, spots, lake, level_m, hazards=hazards, water=water, ramps=ramps, **asked
        )
        long = spots[shapely.get_dimensions(spots.geometry.to_numpy()) > 0].reset_index(drop=True)
        asked = HoldRules(level_error_m=0.1 * k, wind_from_deg=wind_deg)
        drawn = hold_lines(long, lake, level_m=level_m, rules=asked).lines
        found += line_breaches(drawn, long, lake, level_m, asked)
        wrong, checked, rows = wrong + len(found), checked + len(ok), rows + spots["spot_id"].nunique()
        rules |= {rule for rule, _ in found}
        lines_m += float(drawn.length.sum())
    return {
        "violations": wrong,
        "violations_of": ", ".join(sorted(rules)),
        "holds_checked": checked,
        "hold_lines_checked_m": lines_m,
        "spots_asked": rows,
    }


def measure(seed: int, quick: bool) -> dict:
    """Measure all; see the functions above."""
    lake = fine_valley(10_000_000, seed)
    return {
        **_accuracy(seed, quick),
        "cells": int(lake.depth_m.size),
        **_speed(lake, seed),
        **_violations(lake, seed, quick),
    }
