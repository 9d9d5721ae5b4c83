"""How long the command takes to say hello: processor time of its help, beside the two libraries it is made with."""

from __future__ import annotations

import json
import resource
import statistics
import subprocess
import sys

HEAVY = (
    "numpy",
    "pandas",
    "shapely",
    "pyproj",
    "pyogrio",
    "geopandas",
    "networkx",
    "scipy",
    "rasterio",
    "numba",
    "matplotlib",
)
HELP = "import sys; sys.argv = ['castshed', '--help']; from castshed.toolbox.cli import main; main()"
PEER = "import typer, rich.console"
SPY = f"""
import atexit, json, sys
atexit.register(lambda: print(json.dumps(sorted(set({HEAVY!r}) & set(sys.modules))), file=sys.stderr))
{HELP}
"""


def _cpu_s(code: str) -> float:
    """Processor time, user and system, of one python process."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        [sys.executable, "-c", code], check=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return (after.ru_utime - before.ru_utime) + (after.ru_stime - before.ru_stime)


def measure(seed: int, quick: bool) -> dict:
    """Time both in turn; the order of each pair changes with the seed."""
    pairs = []
    for k in range(5 if quick else 21):
        order = (HELP, PEER) if (k + seed) % 2 else (PEER, HELP)
        times = {code: _cpu_s(code) for code in order}
        if k:  # the first pair fills the caches of compiled modules
            pairs.append((times[HELP], times[PEER]))
    spied = subprocess.run([sys.executable, "-c", SPY], check=False, capture_output=True, text=True)
    return {
        "ratio": statistics.median(own / peer for own, peer in pairs),
        "heavy_modules": json.loads(spied.stderr.strip().splitlines()[-1]),
        "help_cpu_s": statistics.median(own for own, _ in pairs),
        "typer_rich_cpu_s": statistics.median(peer for _, peer in pairs),
        "exit_code": spied.returncode,
    }
