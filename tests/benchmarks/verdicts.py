"""Verdicts by spot and hour on the demo lake: spots, holds and a windy day made anew by the seed.

`seconds` is one call of `fishable` with everything it judges by: depths from the coverage, holds, hourly wind and waves
at each hold, seas on the way from the ramp, zones, daylight. What the layers given to it cost is told beside it.
"""

from __future__ import annotations

import datetime as dt
import statistics
import time
import warnings
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

from castshed.algorithms.fishable import fishable
from castshed.algorithms.safe_ways import safe_ways
from castshed.algorithms.shallow_hazards import shallow_hazards
from castshed.algorithms.water_today import water_today
from castshed.algorithms.wind_exposure import wind_exposure
from castshed.toolbox.layers import read_layer, read_surface
from castshed.toolbox.water.wind.forecast import Forecast

LAKE = Path(__file__).resolve().parents[2] / "demo_layers" / "reservoir.gpkg"
LEVEL_M = -1.2192
KINDS = np.array(["hump", "point", "ledge", "brush", "stumps", "standing_timber", "flat"], dtype=object)


def _layer(name):
    return read_layer(f"{LAKE}:{name}")


def _day(rng):
    """Make 24 hours of wind that rises to the afternoon and veers, hard enough to close the open water."""
    hours = np.arange(24)
    wind = 2.0 + rng.uniform(6.0, 11.0) * np.exp(-(((hours - rng.uniform(13.0, 17.0)) / 4.0) ** 2))
    start = dt.datetime(2026, 5, 16, tzinfo=dt.timezone(dt.timedelta(hours=-5)))
    return Forecast(
        tuple(start + dt.timedelta(hours=int(hour)) for hour in hours),
        wind,
        wind * rng.uniform(1.2, 1.6, 24),
        (rng.uniform(0.0, 360.0) + np.cumsum(rng.normal(0.0, 6.0, 24))) % 360.0,
    )


def _places(rng, water, hazards, count):
    """Spread spots over today's water, each with a hold some metres off, clear of what is too thin."""
    area = shapely.union_all(water.geometry.to_numpy())
    clear = shapely.difference(
        area.buffer(-20.0), shapely.union_all(hazards.geometry.to_numpy()).buffer(20.0)
    )
    shapely.prepare(clear)
    found = np.empty((0, 2))
    west, south, east, north = clear.bounds
    while len(found) < count:
        more = rng.uniform((west, south), (east, north), (4 * count, 2))
        found = np.vstack([found, more[shapely.contains_xy(clear, more)]])
    held = found[:count]
    angle = rng.uniform(0.0, 2.0 * np.pi, count)
    spots = gpd.GeoDataFrame(
        {
            "spot_id": np.array([f"s{row:03d}" for row in range(count)], dtype=object),
            "kind": KINDS[rng.integers(0, len(KINDS), count)],
            "height_m": rng.uniform(0.0, 3.0, count),
        },
        geometry=shapely.points(held + 20.0 * np.column_stack([np.sin(angle), np.cos(angle)])),
        crs=water.crs,
    )
    number = dict.fromkeys(
        ("depth_today_m", "cast_m", "cast_bearing_deg", "deep_bearing_deg", "wind_angle_deg"),
        np.full(count, 20.0),
    )
    holds = gpd.GeoDataFrame(
        {"spot_id": spots["spot_id"], "hold_no": 1, "status": "ok", "reason": "made", **number},
        geometry=shapely.points(held),
        crs=water.crs,
    )
    return spots, holds


def measure(seed, quick):
    rng = np.random.default_rng(seed)
    count = 40 if quick else 300
    depth = read_surface(f"{LAKE}:depth")
    zones = _layer("zones")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        water = water_today(depth, _layer("shoreline"), level_m=LEVEL_M).water
        hazards = shallow_hazards(depth, water, known_hazards=_layer("known_hazards"), level_m=LEVEL_M)
        spots, holds = _places(rng, water, hazards, count)
        start = time.perf_counter()
        exposure = wind_exposure(holds, water, forecast=_day(rng), depth=depth, level_m=LEVEL_M).exposure
        exposed = time.perf_counter()
        found = safe_ways(holds, _layer("ramps"), water, hazards=hazards, zones=zones, level_m=LEVEL_M)
        ready = time.perf_counter()
        seconds = []
        for _ in range(2 if quick else 5):
            before = time.perf_counter()
            judged, verdicts = fishable(
                spots,
                water,
                depth=depth,
                level_m=LEVEL_M,
                holds=holds,
                exposure=exposure,
                ways=found.ways,
                left_out=found.left_out,
                zones=zones,
                time_zone="America/Chicago",
            )
            seconds.append(time.perf_counter() - before)
    return {
        "seconds": statistics.median(seconds),
        "spots": len(judged),
        "hours": len(verdicts) // len(judged),
        "fishable_share": float(verdicts["fishable"].mean()),
        "marginal_share": float(verdicts["marginal"].mean()),
        "spots_with_hours": int((judged["hours"] != "").sum()),
        "exposure_s": exposed - start,
        "ways_s": ready - exposed,
    }
