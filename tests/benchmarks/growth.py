"""How cost grows: three sizes of everything that may become large, the exponent fitted, and what a state would take.

All costs are processor time, each in a process of its own, the least of up to five runs after a small one that
compiles or loads the loops; so they hold on a busy machine, where times by the clock do not. An exponent of 1 is cost
in proportion to size.

What 5,000 lakes would take is reckoned from these figures for one lake of a million cells each, contours to structure;
nothing larger than one machine was measured.
"""

from __future__ import annotations

import json
import math
import multiprocessing
import os
import resource
import subprocess
import sys
import tempfile
import time
import warnings
from pathlib import Path

import numpy as np
from growing import (
    ROWS_A_LAKE,
    day,
    files,
    gather,
    hazards,
    holds,
    lakes,
    rows,
    structure,
    surface,
    tours,
    ways,
)

TOTAL_CELLS, STATE_LAKES, LARGEST_LAKE_CELLS = 1_000_000, 5_000, 100_000_000
CORES = (2, 64, 1_000)
CHAIN = ("surface", "structure", "coverage to and from a file")

SIZES = {
    "surface": (surface, "cells", (250_000, 1_000_000, 4_000_000)),
    "structure": (structure, "cells", (250_000, 1_000_000, 4_000_000)),
    "hazards": (hazards, "cells", (250_000, 1_000_000, 4_000_000)),
    "coverage to and from a file": (files, "cells", (250_000, 1_000_000, 4_000_000)),
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


START_CODE = """
import json, sys
sys.path[:0] = json.loads(sys.argv[1])
from castshed.toolbox.water.structure.findings import find_all
from planted import plant
find_all(plant(1, slots=2).surface)
"""


def _start_up():
    """Processor time of a new worker's first small lake: its loops compiled, then loaded as compiled before."""
    took = []
    with tempfile.TemporaryDirectory() as cache:
        for _ in range(2):
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            subprocess.run(
                [sys.executable, "-c", START_CODE, json.dumps([str(Path(__file__).parents[1])])],
                env=os.environ | {"NUMBA_CACHE_DIR": cache},
                check=True,
            )
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            took.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return {"compiled_cpu_s": took[0], "loaded_cpu_s": took[1]}


def _state(grown):
    """Reckon what 5,000 lakes would take."""

    def at(name, size, figure="cpu_s"):
        """Take the nearest size; beyond the largest at the exponent of the two largest, but not below 1."""
        one = grown[name]
        near = min(one["sizes"], key=lambda known: abs(math.log(known / size)))
        return one[figure][one["sizes"].index(near)] * (size / near) ** max(1.0, one["exponent_last"])

    def last(name, figure, per=1):
        return grown[name][figure][-1] / (grown[name]["sizes"][-1] / per)

    each = sum(at(name, TOTAL_CELLS) for name in CHAIN) + last("over-lakes", "workers_cpu_s")
    largest = sum(at(name, LARGEST_LAKE_CELLS) for name in CHAIN)
    handing = STATE_LAKES * last("over-lakes", "cpu_s")
    gathering = STATE_LAKES * last("gathered rows", "cpu_s", ROWS_A_LAKE)
    table = []
    for cores in CORES:
        bounds = {
            "all lakes' work": STATE_LAKES * each / cores,
            "handing out": handing,
            "the largest lake": largest,
        }
        slowest = max(bounds, key=bounds.__getitem__)
        table.append(
            {
                "cores": cores,
                "work_s": bounds["all lakes' work"],
                "total_s": bounds[slowest] + gathering,
                "bound_by": slowest,
            }
        )
    return {
        "lakes": STATE_LAKES,
        "cells_a_lake": TOTAL_CELLS,
        "cpu_s_a_lake": each,
        "handing_out_s": handing,
        "lakes_a_second_handed_out": STATE_LAKES / handing,
        "cores_kept_busy_at_most": each * STATE_LAKES / handing,
        "gathering_s": gathering,
        "gathered_mb_for_1e6_rows": 1e6 * last("gathered rows", "added_mb"),
        "asking_again_s": STATE_LAKES * last("over-lakes", "again_cpu_s"),
        "largest_lake_cells": LARGEST_LAKE_CELLS,
        "largest_lake_s": largest,
        "coverages_gb": STATE_LAKES * at("coverage to and from a file", TOTAL_CELLS, "file_mb") / 1024,
        "on": table,
    }


def table(grown):
    """Write the sizes, costs and exponents as a table in Markdown."""
    lines = ["| what | size | seconds of one core | b | last b |", "|---|---|---|---|---|"]
    for name, one in grown.items():
        sizes = ", ".join(f"{size:,}" for size in one["sizes"])
        for key in [key for key in one if key.endswith("cpu_s")]:
            costs = ", ".join(f"{cost:.2g}" for cost in one[key])
            both = [exponent(one["sizes"][k:], one[key][k:]) for k in (0, -2)]
            what = name if key == "cpu_s" else f"{name}: {key.removesuffix('_cpu_s')}"
            lines.append(f"| {what} | {sizes} {one['size']} | {costs} | {both[0]:.2f} | {both[1]:.2f} |")
    return "\n".join(lines)


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
        grown[name]["exponent_last"] = exponent(taken[-2:], grown[name]["cpu_s"][-2:])
    print(table(grown), file=sys.stderr)
    return {
        "growth": grown,
        "state": _state(grown),
        "new_worker": _start_up(),
        "cores": os.cpu_count(),
        "whole_s": time.perf_counter() - begin,
    }
