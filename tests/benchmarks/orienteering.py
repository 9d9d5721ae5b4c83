"""Days at the published optimum: the search of day-plan on public orienteering sets, against the best values known.

Needs `--data`, a folder with the sets as they are published: `op/`, `toptw/`, `top/` and `tdop/`. Part `td` is of made
days of 14 stops whose legs take longer by the hour, against every set of stops.
"""

from __future__ import annotations

import statistics
import time
from pathlib import Path

import numpy as np
from orienteering_best import OP, TOP, TOPTW

from castshed.toolbox.water.day.day_search import MOST_STOPS, best_day
from castshed.toolbox.water.day.day_task import merit
from castshed.toolbox.water.hours.hour_walks import hour_tables
from castshed.toolbox.water.hours.hours_search import search_in_hours
from castshed.toolbox.water.hours.kept_day import best_kept_day, kept_merit
from day_cases import made_day, replayed
from orienteering_files import op_day, top_day, toptw_day
from slowed_days import MadeLegs, kept_of, most_worth

PARTS = ("op", "peer", "toptw1", "toptw2", "top", "td")
PEER = "ortools"


def _op(data):
    """Instances of orienteering by set: name, day, best value known."""
    folders = {
        "tsiligirides_1": "Tsiligirides_1", "tsiligirides_2": "Tsiligirides_2", "tsiligirides_3": "Tsiligirides_3",
        "chao_64": "ChaoSet_64", "chao_66": "ChaoSet_66",
    }  # fmt: skip
    for name, folder in folders.items():
        for path in sorted((data / "op" / folder).glob("*.txt")):
            longest = str(int(path.stem.split("_")[-1]))
            yield name, path.stem, lambda path=path: op_day(path), OP[name].get(longest)


def _toptw(data, boats):
    for path in sorted((data / "toptw").glob("*.txt")):
        name = "cordeau" if path.stem.startswith("pr") else "solomon"
        yield (
            f"{name}_{boats}",
            path.stem,
            lambda path=path: toptw_day(path, boats),
            TOPTW[boats].get(path.stem),
        )


def _top(data):
    for path in sorted((data / "top").glob("Set*/*.txt")):
        if path.stem in TOP:
            yield f"chao_{path.stem[:2]}", path.stem, lambda path=path: top_day(path), TOP[path.stem]


def _sample(cases, seed, quick, each):
    """All cases, or so many of each set drawn by the seed."""
    cases = list(cases)
    if not quick:
        return cases
    rng = np.random.default_rng(seed)
    groups = {}
    for case in cases:
        groups.setdefault(case[0], []).append(case)
    return [
        group[k] for group in groups.values() for k in sorted(rng.permutation(len(group))[:each].tolist())
    ]


def _solved(cases, seed):
    """Gap in percent, mean and worst, processor seconds and broken rules by set."""
    found = {}
    for group, name, make, best in cases:
        task = make()
        start = time.process_time()
        routes = best_day(task, seed=seed)
        seconds = time.process_time() - start
        broken, worth = replayed(task, routes)
        one = found.setdefault(
            group, {"gaps": [], "seconds": [], "broken": 0, "short": {}, "above": {}, "unknown": 0}
        )
        one["broken"] += bool(broken) or worth != merit(task, routes)[1]
        one["seconds"].append(seconds)
        if best is None:
            one["unknown"] += 1
            continue
        one["gaps"].append(100.0 * (best - worth) / best)
        if worth != best:
            one["short" if worth < best else "above"][name] = [worth, best]
    return {
        group: {
            "instances": len(one["seconds"]),
            "mean_gap_pct": round(statistics.mean(one["gaps"]), 3) if one["gaps"] else None,
            "worst_gap_pct": round(max(one["gaps"]), 3) if one["gaps"] else None,
            "at_best_share": round(sum(gap <= 0 for gap in one["gaps"]) / max(len(one["gaps"]), 1), 3),
            "seconds_mean": round(statistics.mean(one["seconds"]), 2),
            "seconds_worst": round(max(one["seconds"]), 2),
            "broken": one["broken"],
            "short": one["short"],
            "above": one["above"],
            "without_best_known": one["unknown"],
        }
        for group, one in found.items()
    }


def proved(task, seconds):
    """Best value of a day of one boat without windows, and whether it is proved; by CP-SAT's circuit."""
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    count = len(task.travel_s)
    arcs = [(1, 0, model.new_constant(1))]
    length, worth = [], []
    for i in range(count):
        for j in range(count):
            if i not in (j, 1) and j != 0:
                used = model.new_bool_var("")
                arcs.append((i, j, used))
                length.append((int(task.travel_s[i, j]), used))
    for offer, stop in enumerate(task.stop.tolist()):
        skipped = model.new_bool_var("")
        arcs.append((stop, stop, skipped))
        worth.append(int(task.worth[offer]) * (1 - skipped))
    model.add_circuit(arcs)
    model.add(sum(step * used for step, used in length) <= task.over_s)
    model.maximize(sum(worth))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 1
    status = solver.solve(model)
    return round(solver.objective_value), status == cp_model.OPTIMAL


def _peer(data, seed, quick):
    """A few orienteering instances that the peer proves: is our value the same?"""
    try:
        import ortools  # noqa: F401
    except ImportError:
        return {"note": f"{PEER} is not installed (extra bench)"}
    same, tried, unproved = 0, 0, 0
    for _, _, make, _ in _sample(_op(data), seed, True, 1 if quick else 4):
        task = make()
        theirs, sure = proved(task, 20 if quick else 60)
        if not sure:
            unproved += 1
            continue
        tried += 1
        same += merit(task, best_day(task, seed=seed))[1] == theirs
    return {
        "equal_to_proved_share": same / tried if tried else None,
        "proved": tried,
        "not_proved_in_time": unproved,
    }


def _by_the_hour(seed, quick):
    """Made days of 14 stops in waves: the plan, and the search alone that plans larger ones, against every set."""
    equal, gaps, seconds = 0, [], []
    count = 4 if quick else 24
    for k in range(count):
        task = made_day(MOST_STOPS, 100 * seed + k, hours=4.0 + k % 3, windows=k % 4 != 3)
        legs = MadeLegs(task.travel_s, 100 * seed + k)
        kept, best = kept_of(task, legs), most_worth(task, legs)
        start = time.process_time()
        tables = hour_tables(task, kept, range(2, MOST_STOPS + 2), int(task.worth.sum()) + 1)
        (rows,) = search_in_hours(tables, [[]], seed=seed)
        seconds.append(time.process_time() - start)
        gaps.append(100.0 * (best - int(tables.offers[rows, 4].sum())) / best)
        equal += kept_merit(task, best_kept_day(task, kept, seed=seed), kept)[1] == best
    return {
        "instances": count,
        "plan_equal_share": equal / count,
        "search_mean_gap_pct": round(statistics.mean(gaps), 3),
        "search_worst_gap_pct": round(max(gaps), 3),
        "search_seconds_worst": round(max(seconds), 2),
    }


def measure(seed: int, quick: bool, data: str | None = None, parts: tuple[str, ...] = PARTS) -> dict:
    """Measure the parts asked for; see the functions above."""
    if data is None and set(parts) != {"td"}:
        raise SystemExit("orienteering needs --data FOLDER with the public sets (op/, toptw/, top/).")
    folder = Path(data or ".")
    best_day(made_day(30, 1), seed=0)  # compiles what is compiled
    result: dict = {}
    each = 2 if quick else 0
    if "op" in parts:
        result["op"] = _solved(_sample(_op(folder), seed, quick, each), seed)
    if "peer" in parts:
        result["peer"] = _peer(folder, seed, quick)
    for boats in (1, 2):
        if f"toptw{boats}" in parts:
            result[f"toptw{boats}"] = _solved(_sample(_toptw(folder, boats), seed, quick, 2 * each), seed)
    if "top" in parts:
        result["top"] = _solved(_sample(_top(folder), seed, quick, each), seed)
    if "td" in parts:
        result["td"] = _by_the_hour(seed, quick)
    return result
