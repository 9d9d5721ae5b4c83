"""Structure finding: recall, precision and position error on planted bottoms; time and memory on ten million cells.

Thresholds were chosen on seeds below 100; some of 101 to 133 were seen as well. A figure counts on seeds from 200 on.
"""

from __future__ import annotations

import importlib
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from scipy.ndimage import gaussian_filter, zoom

from found_planted import KINDS, Tally, match
from planted import plant
from planted_contours import from_contours

FORMS = "castshed.toolbox.water.structure"
CELL_M = 2.5


def find(surface, **given):
    """All findings as {kind: geometries}, and seconds by finder; a kind without a finder is left out.

    Through the room that resolves echoes between kinds where there is one, else each finder on its own.
    """
    start = time.perf_counter()
    try:
        room = importlib.import_module(f"{FORMS}.findings")
    except ModuleNotFoundError:
        room = None
    if room is not None:
        table = room.find_all(surface, **given)
        geometry = {kind: list(table.geometry[table["kind"] == kind]) for kind in KINDS}
        return geometry, {"all": time.perf_counter() - start}
    geometry, seconds = {}, {}
    for kind in KINDS:
        try:
            file = importlib.import_module(f"{FORMS}.{kind}s")
        except ModuleNotFoundError:
            continue
        start = time.perf_counter()
        geometry[kind] = list(getattr(file, f"find_{kind}s")(surface).geometry)
        seconds[kind] = time.perf_counter() - start
    return geometry, seconds


def score(seeds, remake=None, rough_m=1.0):
    """Tally each kind over planted bottoms; `remake` makes of a bottom the surface that is searched."""
    tallies = {kind: Tally() for kind in KINDS}
    for seed in seeds:
        planted = plant(seed, rough_m=rough_m)
        geometry, _ = find(planted.surface if remake is None else remake(planted))
        for kind, shapes in geometry.items():
            tallies[kind].add(match(kind, planted, shapes)[0])
    return tallies


def lakes(seed, count):
    """Seeds of so many made lakes; no two seeds below 10 000 share one."""
    return [int(k) for k in 10_000 * seed + np.arange(count)]


# Runs alone, so that its peak memory is its own: depths from a file, seconds and megabytes on stdout.
CHILD_CODE = """
import json, sys, time
import numpy as np
sys.path[:0] = json.loads(sys.argv[2])
from castshed.toolbox.depth import DepthSurface
from structure import CELL_M, find
from planted import CRS, plant
find(plant(1, slots=3).surface)  # compiles the loops, or finds them compiled
surface = DepthSurface(np.load(sys.argv[1]), 500000.0, 4000000.0, CELL_M, CELL_M, CRS, 0.1)
start, busy = time.perf_counter(), time.process_time()
geometry, parts = find(surface)
seconds, busy = time.perf_counter() - start, time.process_time() - busy
try:  # the peak of this process alone; that of the system's accounting begins at the parent's
    with open("/proc/self/status") as told:
        peak = next(float(line.split()[1]) / 1024.0 for line in told if line.startswith("VmHWM:"))
except OSError:
    peak = None
print(json.dumps({"seconds": seconds, "cpu_s": busy, "peak_mb": peak, "parts": parts, "found": {k: len(v) for k, v in geometry.items()}}))
"""


def hills(seed, side):
    """Hills of several sizes and roughness in a bowl, islands among them."""
    rng = np.random.default_rng([31, seed])

    def relief(cells):
        few = -(-side // cells) + 8
        made = gaussian_filter(rng.standard_normal((few, few)), 3.0)
        return zoom(made / made.std(), cells, order=1)[:side, :side].astype(np.float32)

    y, x = np.mgrid[:side, :side].astype(np.float32) / side - 0.5
    depth = 12.0 - 60.0 * np.clip(np.hypot(x, y) - 0.42, 0.0, None)
    for cells, height_m in ((40, 4.0), (12, 1.5), (4, 0.3)):
        depth += height_m * relief(cells)
    depth += 0.03 * rng.standard_normal(depth.shape).astype(np.float32)
    return np.where(depth < -1.0, np.nan, depth).astype(np.float32)


def _alone(seed, side):
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "depth.npy"
        np.save(file, hills(seed, side))
        here = Path(__file__).resolve().parent
        run = subprocess.run(
            [
                sys.executable,
                "-c",
                CHILD_CODE,
                str(file),
                json.dumps([str(here), str(here.parent / "support")]),
            ],
            capture_output=True,
            text=True,
            check=True,
        )
    return json.loads(run.stdout)


def measure(seed: int, quick: bool) -> dict:
    """Score on planted bottoms and on those remade from 2 ft contours; then time and memory alone."""
    seeds = lakes(seed, 2 if quick else 8)
    plain, contoured = score(seeds), score(seeds, from_contours)
    rough = score(seeds[::2], rough_m=2.0)

    def by_kind(tallies, what):
        return {kind: getattr(tallies[kind], what) for kind in KINDS}

    growth = []
    for side in (316, 1000) if quick else (1000, 3163):
        one = _alone(seed, side)
        growth.append([side * side, one["seconds"], one["peak_mb"]])
    return {
        "lakes": len(seeds),
        "recall": by_kind(plain, "recall"),
        "precision": by_kind(plain, "precision"),
        "median_error_m": by_kind(plain, "median_error_m"),
        "planted": by_kind(plain, "planted"),
        "on_2ft_contours": {
            what: by_kind(contoured, what) for what in ("recall", "precision", "median_error_m")
        },
        # Every other lake, with twice the roughness: what the thresholds were not meant for.
        "on_twice_the_roughness": {what: by_kind(rough, what) for what in ("recall", "precision")},
        "cells": growth[-1][0],
        "seconds": growth[-1][1],
        "peak_mb": growth[-1][2],
        "cpu_s": one["cpu_s"],
        "growth": growth,
        "seconds_by_finder": one["parts"],
        "found_on_hills": one["found"],
    }
