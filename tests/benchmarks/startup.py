"""How long the command takes to say hello: processor time of its help, beside the two libraries it is made with."""

from __future__ import annotations

import json
import os
import resource
import statistics
import subprocess
import sys
from pathlib import Path

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
"""
COMMAND = "sys.argv = ['castshed', *{words!r}]; from castshed.toolbox.cli import main; main()"
DEMO = Path(__file__).parents[2] / "demo_layers" / "reservoir.gpkg"
LISTING = f"from pathlib import Path; from castshed.toolbox.layers import list_layers; list_layers(Path({str(DEMO)!r}))"
LIGHT = {
    "help": COMMAND.format(words=["--help"]),
    "help of a command": COMMAND.format(words=["boat-hold", "--help"]),
    "describe": COMMAND.format(words=["describe", "day-plan", "--json"]),
    "completion": COMMAND.format(words=[]),
    "listing layers": LISTING,
}


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
    told = {
        "_CASTSHED_COMPLETE": "complete_bash",
        "COMP_WORDS": f"castshed boat-hold {DEMO} : s",
        "COMP_CWORD": "4",
    }
    heavy, codes = {}, {}
    for name, code in LIGHT.items():
        env = {**os.environ, **(told if name == "completion" else {})}
        spied = subprocess.run(
            [sys.executable, "-c", SPY + code], check=False, capture_output=True, text=True, env=env
        )
        heavy[name] = json.loads(spied.stderr.strip().splitlines()[-1])
        codes[name] = spied.returncode
    return {
        "ratio": statistics.median(own / peer for own, peer in pairs),
        "heavy_modules": sorted({module for found in heavy.values() for module in found}),
        "heavy_by_use": heavy,
        "help_cpu_s": statistics.median(own for own, _ in pairs),
        "typer_rich_cpu_s": statistics.median(peer for _, peer in pairs),
        "exit_codes": codes,
    }
