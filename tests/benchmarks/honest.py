"""How honest a depth is: how often the truth lies in the band that is said, and what thin water no hazard covers.

The bottom is a real valley drowned to two pools (see `drowned_valley`), its depth known at every place; with `--lake
FILE` also a real lake, where soundings that were not given judge what was made of the others.

`in_band` and `shallower_than_band` are shares of places spread by chance; `sharpness` is the mean half-width over the
95 % quantile of the true error, in strata of slope and depth, averaged by the places in each. Each is the worst of the
pools. `missed_m2` is water truly thinner than asked for running (what it takes and the margin, as by default), in no
hazard widened by the way-finder's clearance of 20 ft; `missed_before_clearance_share` the share of it before that;
`over_marked` hazard area over truly thin area, the mean of the levels.
"""

from __future__ import annotations

import functools
import json
import os
import sys
import time
import warnings
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import geopandas as gpd
import numpy as np
import shapely
from rasterio.features import rasterize
from rasterio.transform import Affine

from castshed.algorithms.depth_surface import depth_surface
from castshed.algorithms.shallow_hazards import shallow_hazards
from castshed.algorithms.water_today import water_today
from castshed.toolbox.errors import NoSolution
from castshed.toolbox.parameters import defaults
from drowned_valley import TRUE_M, Drowned

FOOT = 0.3048
LEVELS_FT = (-4, 0, 6)
POOLS = (345.0, 375.0)
ASKED_M = defaults.RUNNING_DEPTH_M + defaults.MARGIN_M  # what shallow-hazards asks for unless told
CLEARANCE_M = 20 * FOOT  # the default of shortest-run
PLACES = 200_000
CASES = {
    "raster5": {"raster": 5.0},
    "raster10": {"raster": 10.0},
    "raster20": {"raster": 20.0},
    "raster40": {"raster": 40.0},
    "contours_2m": {"contours": 2.0},
    "contours_5ft": {"contours": 5 * FOOT},
    "contours_10ft": {"contours": 10 * FOOT},
    "contours_generalised": {"contours": 5 * FOOT, "generalised": True},
    "contours_cells10": {"contours": 5 * FOOT, "cell": 10.0},
    "contours_cells20": {"contours": 5 * FOOT, "cell": 20.0},
    "contours_cells30": {"contours": 5 * FOOT, "cell": 30.0},
    "soundings20": {"soundings": 20.0},
    "soundings40": {"soundings": 40.0},
    "soundings80": {"soundings": 80.0},
    "soundings150": {"soundings": 150.0},
}
PARTS = (*CASES, "valley", "lake")


def made_of(valley: Drowned, case: dict):
    """Depth and its confidence by what a case gives."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        if "raster" in case:
            return depth_surface(valley.shoreline(), raster=valley.raster(case["raster"]))
        if "soundings" in case:
            return depth_surface(valley.shoreline(), soundings=valley.soundings(case["soundings"]))
        lines = valley.contours(case["contours"], generalised=case.get("generalised", False))
        return depth_surface(valley.shoreline(), contours=lines, cell_m=case.get("cell"))


def judged(made, true, x, y):
    """Shares in the band and beyond its shallow side, sharpness and root mean square error at places."""
    found, half = made.depth.at(x, y), made.depth_confidence.at(x, y)
    slope = np.hypot(*(made.depth.at(x + dx, y + dy) - found for dx, dy in ((5.0, 0.0), (0.0, 5.0)))) / 5.0
    known = np.isfinite(found) & np.isfinite(half) & np.isfinite(slope)
    off, half, slope, deep = (found - true)[known], half[known], slope[known], found[known] > 6.0
    ratios, counts = [], []
    for side in (False, True):
        part = np.flatnonzero(deep == side)
        for rows in np.array_split(part[np.argsort(slope[part], kind="stable")], 4):
            if len(rows) > 100:
                ratios.append(half[rows].mean() / max(np.quantile(np.abs(off[rows]), 0.95), 1e-6))
                counts.append(len(rows))
    under = ~deep
    return {
        "in_band": float((np.abs(off) <= half).mean()),
        "shallower_than_band": float((off > half).mean()),
        "shallower_under_6m": float((off > half)[under].mean()) if under.any() else 0.0,
        "sharpness": float(np.average(ratios, weights=counts)),
        "rmse": float(np.sqrt(np.mean(off**2))),
        "unknown": float(1.0 - known.mean()),
    }


def hidden_shoals(valley: Drowned, made, level_ft: int) -> dict:
    """Thin water, in square metres, that no hazard covers before and after clearance, and what is marked."""
    level = level_ft * FOOT
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            water = water_today(made.depth, valley.shoreline(), level_m=level).water
        except NoSolution:
            return {"missed": 0.0, "before": 0.0, "thin": 0.0, "marked": 0.0}
        hazards = shallow_hazards(made.depth, water, depth_confidence=made.depth_confidence, level_m=level)
    run = hazards.geometry[hazards["care"] == "run"].to_numpy()
    transform = Affine(TRUE_M, 0.0, valley.west_m, 0.0, -TRUE_M, valley.north_m)

    def drawn(shapes):
        shapes = [g for g in shapes if not shapely.is_empty(g)]
        if not shapes:
            return np.zeros(valley.depth_m.shape, dtype=bool)
        return rasterize(shapes, out_shape=valley.depth_m.shape, transform=transform).astype(bool)

    afloat = drawn(water.geometry)
    thin = (valley.depth_m + level < ASKED_M) & afloat
    cell = TRUE_M**2
    marked = drawn(run) & afloat
    wide = drawn(shapely.buffer(run, CLEARANCE_M))
    return {
        "missed": float((thin & ~wide).sum() * cell),
        "before": float((thin & ~marked).sum() * cell),
        "thin": float(thin.sum() * cell),
        "marked": float(marked.sum() * cell),
    }


@functools.lru_cache(maxsize=1)
def _drowned(pool_m: float, seed: int, quick: bool):
    valley = Drowned(pool_m, seed, quick=quick)
    return valley, valley.places(PLACES)


def _one(task: tuple[float, int, bool, str]) -> dict:
    """All figures of one case in one pool."""
    pool_m, seed, quick, name = task
    valley, (x, y, true) = _drowned(pool_m, seed, quick)
    start = time.perf_counter()
    made = made_of(valley, CASES[name])
    one = judged(made, true, x, y) | {"seconds": time.perf_counter() - start}
    for level in LEVELS_FT:
        one[f"{level:+d}ft"] = hidden_shoals(valley, made, level)
    # As they come, for a run takes minutes.
    told = {key: round(value, 4) for key, value in one.items() if isinstance(value, float)}
    print(json.dumps({"case": name, "pool": pool_m, **told}), file=sys.stderr, flush=True)
    return one


def _valley(seed: int, quick: bool, cases: tuple[str, ...]) -> dict:
    tasks = [(pool, seed, quick, name) for pool in POOLS for name in cases]
    with ProcessPoolExecutor(
        min(len(tasks), os.cpu_count() or 1), mp_context=get_context("spawn")
    ) as workers:
        ones = list(workers.map(_one, tasks))
    found: dict[str, dict] = {}
    for (pool, _, _, name), one in zip(tasks, ones, strict=True):
        found.setdefault(name, {})[f"{pool:g}"] = one
    result: dict[str, dict] = {"pools": found}
    for key, worst in (
        ("in_band", min),
        ("shallower_than_band", max),
        ("sharpness", max),
        ("rmse", max),
    ):
        result[key] = {name: worst(one[key] for one in pools.values()) for name, pools in found.items()}
    levels = [f"{level:+d}ft" for level in LEVELS_FT]
    rows = {name: [one[level] for one in pools.values() for level in levels] for name, pools in found.items()}
    result["missed_m2"] = {name: max(r["missed"] for r in all_) for name, all_ in rows.items()}
    for key, kind in (("missed_share", "missed"), ("missed_before_clearance_share", "before")):
        result[key] = {n: max(r[kind] / max(r["thin"], 1.0) for r in all_) for n, all_ in rows.items()}
    result["over_marked"] = {
        name: float(np.mean([r["marked"] / r["thin"] for r in all_ if r["thin"] > 1e4] or [1.0]))
        for name, all_ in rows.items()
    }
    return result


def _rows_of(file: str, layer: str):
    rows = gpd.read_file(file, layer=layer)
    for column in ("source", "surveyed", "time"):
        if column not in rows:
            rows[column] = ""
    return rows


def _lake(file: str, seed: int) -> dict:
    """Hold what is made of a tenth of the soundings, of the contours, and of both against the other soundings."""
    rng = np.random.default_rng([seed, 9])
    shoreline, soundings = gpd.read_file(file, layer="shoreline"), _rows_of(file, "soundings")
    contours = _rows_of(file, "contours")
    contours["depth_m"] = contours["depth_m"].abs()
    order = rng.permutation(len(soundings))
    given, held = order[: len(order) // 10], order[len(order) // 10 :]
    depth = soundings["depth_m"].to_numpy(dtype=float)
    zone = shoreline.estimate_utm_crs()  # its own system is turned too far from north where it lies
    shoreline, soundings, contours = (layer.to_crs(zone) for layer in (shoreline, soundings, contours))
    x, y = soundings.geometry.x.to_numpy(), soundings.geometry.y.to_numpy()
    result: dict = {}
    for name, layers, judges in (
        ("soundings", {"soundings": soundings.iloc[given]}, held),
        ("contours", {"contours": contours}, held),
        ("fused", {"soundings": soundings.iloc[given], "contours": contours}, held),
        ("few", {"soundings": soundings.iloc[order[:300]], "contours": contours}, order[300:]),
    ):
        start = time.perf_counter()
        with warnings.catch_warnings(record=True) as said:
            warnings.simplefilter("always")
            made = depth_surface(shoreline, **layers)
        one = judged(made, depth[judges], x[judges], y[judges])
        result[f"{name}_seconds"] = time.perf_counter() - start
        result[f"{name}_rmse_m"] = one["rmse"]
        result[f"{name}_in_band"] = one["in_band"]
        result[f"{name}_shallower"] = one["shallower_than_band"]
        result[f"{name}_shallower_under_6m"] = one["shallower_under_6m"]
        result[f"{name}_sharpness"] = one["sharpness"]
        texts = [str(w.message) for w in said]
        result[f"{name}_said"] = [t[:300] for t in texts]
        if name == "fused":
            result["soundings_dropped"] = sum(
                int(t.split("soundings: ")[1].split()[0].replace(",", "")) for t in texts
                if t.startswith("soundings: ") and "left out" in t
            )  # fmt: skip
    return result


def measure(
    seed: int, quick: bool, parts: tuple[str, ...] = ("valley", "lake"), lake: str | None = None
) -> dict:
    """Measure the drowned valley by case, and the real lake where its file is given; see above."""
    cases = tuple(CASES) if "valley" in parts else tuple(name for name in CASES if name in parts)
    result = _valley(seed, quick, cases) if cases else {}
    if lake is not None:
        result |= _lake(lake, seed)
    return result
