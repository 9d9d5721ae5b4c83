"""Castshed run in a folder, with what it says and needs; and how far a depth is from the truth."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import geopandas as gpd
import numpy as np

COMMAND = Path(sys.executable).with_name("castshed")
LONGEST_S = 300.0
TRACE = "Traceback (most recent call last)"


def run(*words: object, folder: Path) -> tuple[int, str, float, float]:
    """Run castshed in a folder: exit code, what it says, seconds and the peak of its memory in MB."""
    said = folder.parent / f"{folder.name}.said"
    begin = time.perf_counter()
    with said.open("wb") as out:
        process = subprocess.Popen([COMMAND, *map(str, words)], stdout=out, stderr=out, cwd=folder)
        while True:
            pid, status, used = os.wait4(process.pid, os.WNOHANG)
            if pid:
                break
            if time.perf_counter() - begin > LONGEST_S:
                process.kill()
                _, status, used = os.wait4(process.pid, 0)
                break
            time.sleep(0.02)
    process.returncode = os.waitstatus_to_exitcode(status)
    text = said.read_text(encoding="utf-8", errors="replace")
    return process.returncode, text, time.perf_counter() - begin, used.ru_maxrss / 1024.0


def off_truth(surface, truth) -> tuple[float, float]:
    """The 95th percentile of errors at places kept back, and the share of them without a depth."""
    at = gpd.GeoSeries(gpd.points_from_xy(truth.x, truth.y), crs=truth.crs).to_crs(surface.crs)
    off = np.abs(np.asarray(surface.at(at.x.to_numpy(), at.y.to_numpy()), dtype=float) - truth.depth_m)
    known = np.isfinite(off)
    return float(np.percentile(off[known], 95)) if known.any() else float("inf"), float(1.0 - known.mean())


def words_of(package, out: Path, answer=()) -> list[object]:
    return ["bring-lake", *(Path(f).name for f in package.files), "--name", package.lake.name, "--out", out.name,
            "--cell", f"{package.lake.cell_m:g} m", *package.options, *answer]  # fmt: skip


def last_words(text: str) -> str:
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return " ".join(lines)[-500:]
