"""Shortest ways: exactness, speed beside two peers, growth, memory, and clearance of a thousand ways.

A thousand more are proved by the last check, among hazards.
"""

from __future__ import annotations

import functools
import json
import statistics
import subprocess
import sys
import tempfile
import time
import venv
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

from castshed.toolbox.water.proof.last_check import Limits, last_check
from castshed.toolbox.water.ways.navigation import SafeWater
from castshed.toolbox.water.ways.safe_water import shrink
from made_waters import (
    narrows,
    plain_lengths,
    points_on,
    ragged_water,
    relative_error,
    rough_lake,
    touches_itself,
)
from valley import CRS, valley_shoreline

LIMIT_S = 120.0
CELL_M = 25.0
CLEARANCE_M = 5.0
PEER = "extremitypathfinder==2.7.2"  # its newest version; pins numpy < 2, so it cannot live beside castshed
COAST = "nzgeom==1.0.1"  # LINZ topographic coast 1:50k, CC-BY 4.0
COAST_BOX = (1_695_000, 5_950_000, 1_740_000, 6_010_000)


@functools.cache
def _shore():
    return valley_shoreline().geometry.iloc[0]


def _stops(water, count, seed):
    """Points spread over the water's area."""
    rng = np.random.default_rng(seed)
    west, south, east, north = water.bounds
    shapely.prepare(water)
    found = np.empty((0, 2))
    while len(found) < count:
        tried = rng.uniform((west, south), (east, north), (4 * count, 2))
        found = np.concatenate([found, tried[shapely.intersects_xy(water, tried)]])
    return found[:count]


def _timed(work, times):
    """Median seconds, and the last result."""
    took = []
    for _ in range(times):
        start = time.perf_counter()
        result = work()
        took.append(time.perf_counter() - start)
    return statistics.median(took), result


def _exactness(seed, quick):
    """Largest relative difference to full visibility graphs."""
    worst, tested, k = 0.0, 0, 0
    while tested < (40 if quick else 250):
        k += 1
        made = 100_000 * seed + k
        if k % 25 == 0 and not quick:
            water = ragged_water(made, 250, 25)
        elif k % 3 == 0:
            water = narrows(made, 1 + k % 7)
        else:
            water = ragged_water(made, 15 + k % 90, k % 12, grid_m=(None, 1.0, 50.0)[k % 3])
        if touches_itself(water):  # there the plain graph slips through
            continue
        points = points_on(water, 8, made)
        found = SafeWater.build(water).ways(points).length_m
        worst = max(worst, relative_error(found, plain_lengths(water, points)))
        tested += 1
    return {"max_rel_error": worst, "waters_tested": tested}


def _own_environment():
    """Python of an environment that holds the peers that cannot live beside castshed; None when it cannot be made."""
    folder = Path(tempfile.gettempdir()) / "castshed-benchmark-peers"
    python = folder / ("Scripts/python.exe" if sys.platform == "win32" else "bin/python")
    done = folder / "done.txt"
    if done.exists() and done.read_text() == f"{PEER} {COAST}":
        return python
    try:
        venv.EnvBuilder(with_pip=True, clear=True).create(folder)
        pip = [str(python), "-m", "pip", "install", "--quiet"]
        subprocess.run([*pip, PEER], check=True, capture_output=True, timeout=600)
        subprocess.run([*pip, "--no-deps", COAST], check=True, capture_output=True, timeout=600)
    except (OSError, subprocess.SubprocessError):
        return None
    done.write_text(f"{PEER} {COAST}")
    return python


# Runs in the peer's environment: rings and points on stdin, seconds and lengths on stdout.
PEER_CODE = """
import json, sys, time
import numpy as np
from extremitypathfinder import PolygonEnvironment
given = json.load(sys.stdin)
def ccw(ring):
    a = np.asarray(ring); b = np.roll(a, -1, axis=0)
    return a if np.sum(a[:, 0] * b[:, 1] - b[:, 0] * a[:, 1]) > 0 else a[::-1]
tiny = PolygonEnvironment()
tiny.store([(0, 0), (9, 0), (9, 9), (0, 9)], [])
tiny.prepare()
tiny.find_shortest_path((1, 1), (8, 8))
start = time.perf_counter()
made = PolygonEnvironment()
made.store(ccw(given["rings"][0]), [ccw(r)[::-1] for r in given["rings"][1:]])
made.prepare()
ready = time.perf_counter()
points = [tuple(p) for p in given["points"]]
lengths = [made.find_shortest_path(points[i], points[j])[1] for i in range(len(points)) for j in range(i)]
end = time.perf_counter()
print(json.dumps({"setup_s": ready - start, "query_s": end - ready, "lengths": lengths}))
"""


def _against_visibility_peer(seed, quick, python, notes):
    made = (
        rough_lake(_shore(), 300 if quick else 1250, seed + k, islets=3 if quick else 20) for k in range(100)
    )
    water = next(lake for lake in made if not touches_itself(lake))  # where it does, the peer slips through
    points = _stops(water, 12, seed)
    own_s, ways = _timed(lambda: SafeWater.build(water).ways(points), 5)
    result = {
        "speedup_extremitypathfinder": None,
        "extremitypathfinder_vertices": _vertices(water),
        "own_12_s": own_s,
    }
    if python is None:
        notes.append(f"{PEER} could not be installed")
        return result
    rings = [np.asarray(r.coords)[:-1].tolist() for r in (water.exterior, *water.interiors)]
    try:
        run = subprocess.run(
            [str(python), "-c", PEER_CODE],
            input=json.dumps({"rings": rings, "points": points.tolist()}),
            capture_output=True,
            text=True,
            timeout=LIMIT_S,
            check=True,
        )
    except subprocess.TimeoutExpired:
        notes.append(f"{PEER} needed more than {LIMIT_S:g} s")
        return result
    except subprocess.CalledProcessError as error:
        notes.append(f"{PEER} failed: {error.stderr.strip().splitlines()[-1]}")
        return result
    peer = json.loads(run.stdout)
    theirs = np.asarray([np.nan if v is None else v for v in peer["lengths"]], dtype=float)
    ours = ways.length_m[np.tril_indices(len(points), -1)]
    result["speedup_extremitypathfinder"] = (peer["setup_s"] + peer["query_s"]) / own_s
    result["extremitypathfinder_setup_s"] = peer["setup_s"]
    result["extremitypathfinder_query_s"] = peer["query_s"] / len(theirs)
    result["extremitypathfinder_rel_difference"] = float(np.nanmax(np.abs(theirs - ours) / ours))
    return result


def _against_raster_peer(seed, quick, notes):
    """Cells of 25 m, ways over eight neighbours; each side makes its own set-up."""
    counts = (12, 50) if quick else (12, 50, 300)
    water = rough_lake(_shore(), 10_000, seed)
    points = _stops(water, 300, seed)
    result = {"speedup_mcp": dict.fromkeys(("12", "50", "300")), "mcp_vertices": _vertices(water)}
    try:
        from skimage.graph import MCP_Geometric
    except ImportError:
        notes.append("scikit-image is not installed (extra bench)")
        return result
    west, south, east, north = water.bounds
    columns, rows = int((east - west) / CELL_M) + 1, int((north - south) / CELL_M) + 1
    for count in counts:
        own_s, ways = _timed(lambda: SafeWater.build(water).ways(points[:count]), 3)  # noqa: B023  # called here
        start = time.perf_counter()
        x = west + (np.arange(columns) + 0.5) * CELL_M
        y = south + (np.arange(rows) + 0.5) * CELL_M
        shapely.prepare(water)
        wet = shapely.contains_xy(water, *np.meshgrid(x, y))
        cells = np.column_stack(
            [(points[:count, 1] - south) // CELL_M, (points[:count, 0] - west) // CELL_M]
        ).astype(int)
        wet[cells[:, 0], cells[:, 1]] = True
        costs = np.where(wet, CELL_M, -1.0)
        ends = [tuple(cell) for cell in cells.tolist()]
        peer = np.empty((count, count))
        late = False
        for k, cell in enumerate(ends):
            found, _ = MCP_Geometric(costs).find_costs([cell], ends, find_all_ends=True)
            peer[k] = found[cells[:, 0], cells[:, 1]]
            late = time.perf_counter() - start > LIMIT_S
            if late:
                break
        if late:
            notes.append(f"MCP_Geometric needed more than {LIMIT_S:g} s for n = {count}")
            continue
        result["speedup_mcp"][str(count)] = (time.perf_counter() - start) / own_s
        far = np.isfinite(peer) & (ways.length_m > 20.0 * CELL_M) & np.isfinite(ways.length_m)
        longer = peer[far] / ways.length_m[far] - 1.0
        result["mcp_longer_mean_pct"] = float(100.0 * longer.mean())
        result["mcp_longer_max_pct"] = float(100.0 * longer.max())
    return result


def _vertices(water):
    return int(shapely.get_num_coordinates(water) - len(shapely.get_rings(shapely.get_parts(water))))


# Runs in a process of its own, so that its peak of memory is that of the ways alone.
CHILD_CODE = """
import json, sys, time
import numpy as np, shapely
from castshed.toolbox.water.ways.navigation import SafeWater
water = shapely.from_wkb(open(sys.argv[1], "rb").read())
points = np.load(sys.argv[2])
start = time.perf_counter()
safe = SafeWater.build(water)
ready = time.perf_counter()
safe.ways(points)
end = time.perf_counter()
try:  # the peak of this process alone; that of the system's accounting begins at the parent's
    with open("/proc/self/status") as told:
        peak = next(float(line.split()[1]) / 1024.0 for line in told if line.startswith("VmHWM:"))
except OSError:
    peak = None
print(json.dumps({"setup_s": ready - start, "plan_s": end - ready, "peak_mb": peak}))
"""


def _alone(water, points):
    with tempfile.TemporaryDirectory() as folder:
        files = Path(folder) / "water.wkb", Path(folder) / "points.npy"
        files[0].write_bytes(shapely.to_wkb(water))
        np.save(files[1], points)
        run = subprocess.run(
            [sys.executable, "-c", CHILD_CODE, *map(str, files)], capture_output=True, text=True, check=True
        )
    return json.loads(run.stdout)


def _scale(seed, quick):
    """Set-up and plan of 300 stops from small to large, and on the large lake shrunk by a clearance."""
    growth, rows = [], {}
    for size in (1_000, 10_000) if quick else (1_000, 10_000, 50_000, 82_000, 200_000):
        water = rough_lake(_shore(), size, seed + size, islets=min(160, size // 50))
        one = _alone(water, _stops(water, 300, seed))
        growth.append([_vertices(water), one["setup_s"] + one["plan_s"]])
        rows[size] = (water, one)
    water, one = rows[10_000 if quick else 82_000]
    shrink_s, inner = _timed(lambda: shrink(water, CLEARANCE_M), 1)
    shrunk = _alone(inner, _stops(inner, 300, seed))
    return {
        "vertices": _vertices(water),
        "setup_s": one["setup_s"],
        "plan_300_s": one["plan_s"],
        "peak_mb": one["peak_mb"],
        "growth": growth,
        "shrink_s": shrink_s,
        "shrunk_vertices": _vertices(inner),
        "shrunk_setup_s": shrunk["setup_s"],
        "shrunk_plan_300_s": shrunk["plan_s"],
    }


def _coast(seed, python, notes):
    """A real coast with its islands, where the open data of its package can be had."""
    if python is None:
        notes.append(f"{COAST} could not be installed")
        return {"coast": None}
    found = sorted(python.parent.parent.glob("**/nzgeom/data/coastlines/*.gpkg"))
    land = gpd.read_file(found[0], bbox=COAST_BOX).to_crs(2193)
    water = shapely.difference(
        shapely.box(*COAST_BOX), shapely.union_all(shapely.make_valid(land.geometry.to_numpy()))
    )
    water = max(shapely.get_parts(water), key=shapely.area)
    one = _alone(water, _stops(water, 300, seed))
    return {"coast": {"vertices": _vertices(water), "islands": len(water.interiors), **one}}


def _violations(seed, quick):
    """Ways nearer to the raw shore than the clearance, tested by distance alone, of 1,000."""
    count, wrong, least = 0, 0, np.inf
    lake = 0
    while count < (100 if quick else 1000):
        lake += 1
        if lake == 1:
            raw = rough_lake(_shore(), 3_000 if quick else 30_000, seed, islets=100)
        else:
            raw = ragged_water(7_000 * seed + lake, 80, 12, size_m=3000.0)
        safe = shrink(raw, CLEARANCE_M)
        if safe.is_empty:
            continue
        ways = SafeWater.build(safe).ways(_stops(safe, 33 if lake == 1 else 12, seed + lake))
        shapely.prepare(raw)
        shore = shapely.boundary(raw)
        for i, j in zip(*np.nonzero(np.triu(np.isfinite(ways.length_m), 1)), strict=True):
            line = shapely.LineString(ways.way(i, j).coordinates)
            clearance = shapely.distance(line, shore)
            wrong += clearance < CLEARANCE_M or not shapely.contains(raw, line)
            least, count = min(least, clearance), count + 1
    return {
        "violations": int(wrong),
        "ways_checked": count,
        "least_clearance_m": float(least),
        "clearance_m": CLEARANCE_M,
    }


def _proved(seed, quick):
    """Runs over stops on lakes strewn with hazards, proved by the last check, which shares no code with the ways."""
    ways, wrong, hazards, lake = 0, {}, 0, 0
    while ways < (100 if quick else 1000):
        lake += 1
        made = 10 * seed + lake
        raw = rough_lake(_shore(), 3_000 if quick else 8_000, made, islets=40)
        rng = np.random.default_rng([made, 1])
        discs = shapely.buffer(shapely.points(_stops(raw, 120, made)), rng.uniform(10.0, 200.0, 120))
        safe = shrink(shapely.difference(raw, shapely.union_all(discs)), CLEARANCE_M)
        largest = max(shapely.get_parts(safe), key=shapely.area)
        stops = _stops(largest, 101, made)
        found = SafeWater.build(safe).ways(stops)
        lines = [shapely.LineString(found.way(k, k + 1).coordinates) for k in range(100)]
        ids = [f"s{k}" for k in range(101)]
        legs = gpd.GeoDataFrame(
            {
                "leg_no": np.arange(1, 101), "part": "run", "from_id": ids[:-1], "to_id": ids[1:],
                "distance_m": found.length_m[np.arange(100), np.arange(1, 101)],
            },
            geometry=lines, crs=CRS,
        )  # fmt: skip
        holds = gpd.GeoDataFrame({"spot_id": ids[1:]}, geometry=shapely.points(stops[1:]), crs=CRS)
        layers = {
            "water": gpd.GeoDataFrame({"water_id": ["w"]}, geometry=[raw], crs=CRS),
            "hazards": gpd.GeoDataFrame(
                {"hazard_id": np.arange(120).astype(str), "care": "run"}, geometry=discs, crs=CRS
            ),
        }
        ends = {"start": shapely.Point(stops[0]), "end": shapely.Point(stops[-1])}
        for keep_m in (CLEARANCE_M, 1.5 * CLEARANCE_M):  # the wider one shows that the check looks
            limits = Limits(keep_m, keep_m, 0.0, 0.0, 0.0, 0.0)
            broken = last_check(legs, holds, depth=None, level_m=0.0, **layers, **ends, limits=limits)
            wrong[keep_m] = wrong.get(keep_m, 0) + len(broken)
        ways, hazards = ways + len(legs), hazards + len(discs)
    return {
        "last_check": {
            "violations": wrong[CLEARANCE_M],
            "found_at_half_as_much_again": wrong[1.5 * CLEARANCE_M],
            "ways": ways,
            "hazards": hazards,
            "lakes": lake,
        }
    }


def measure(seed: int, quick: bool) -> dict:
    """Measure all; see the functions above."""
    notes: list[str] = []
    python = _own_environment()
    result = _exactness(seed, quick)
    result |= _against_visibility_peer(seed, quick, python, notes)
    result |= _against_raster_peer(seed, quick, notes)
    result |= _scale(seed, quick)
    result |= _coast(seed, python, notes) if not quick else {}
    result |= _violations(seed, quick)
    result |= _proved(seed, quick)
    result["note"] = "; ".join(notes)
    return result
