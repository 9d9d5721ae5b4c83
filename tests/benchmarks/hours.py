"""Hours that are kept: made days of gales, lulls, fronts, forecasts that end or have gaps, from 70 N to 55 S.

`stops_or_legs_forbidden` and `in_the_dark_unasked` count what a checker that shares no code with the planner finds;
`refusals_without_hour_and_cause` the refusals that do not say when and why; `refused_though_one_stop_fits` the refusals
on days on which that checker finds one stop that fits with time and seas to spare.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import re
import statistics
import time
import warnings
import zoneinfo

import geopandas as gpd
import numpy as np
import pyproj
import shapely

from castshed.algorithms.day_plan import day_plan
from castshed.algorithms.fishable import fishable
from castshed.algorithms.shallow_hazards import shallow_hazards
from castshed.algorithms.shortest_run import shortest_run
from castshed.algorithms.water_today import water_today
from castshed.algorithms.wind_exposure import wind_exposure
from castshed.toolbox.errors import CastshedError, NothingFishable
from castshed.toolbox.water.wind.exposure import expose
from castshed.toolbox.water.wind.fetch import fetch_lengths
from castshed.toolbox.water.wind.forecast import Forecast
from castshed.toolbox.water.wind.restricted import over_arcs, restricted_fetch, restricted_waves
from castshed.toolbox.water.wind.waves import wave_band
from hours_checker import Checker
from made_lake import X0, Y0, make_lake
from valley import valley_shoreline

PLACES = (  # zone, EPSG code of its metres, a northing there
    ("Europe/Oslo", 32633, 7_767_000.0),  # 70 N
    ("America/Anchorage", 32606, 6_800_000.0),  # 61 N
    ("America/Chicago", 32615, 4_000_000.0),  # 36 N
    ("Australia/Sydney", 32756, 6_250_000.0),  # 34 S
    ("America/Punta_Arenas", 32719, 3_905_000.0),  # 55 S
)
POINTS = [(200, 200), (800, 200), (200, 800), (800, 800), (440, 500), (740, 640), (500, 300), (300, 600)]
DST = {"America/Chicago": dt.date(2026, 3, 8), "Europe/Oslo": dt.date(2026, 10, 25), "Australia/Sydney": dt.date(2026, 10, 4)}  # fmt: skip
CAUSE = re.compile(r"dark|wind|gust|seas|waves|forecast")


def _lake(code, north):
    """The made lake at another place on earth."""
    lake, crs = make_lake(10.0), pyproj.CRS.from_epsg(code)

    def moved(frame):
        shifted = frame.translate(0.0, north - Y0)
        return gpd.GeoDataFrame(frame.drop(columns="geometry"), geometry=shifted.to_numpy(), crs=crs)

    names = ("shoreline", "spots", "ramps", "zones", "known_hazards")
    for name in names:
        setattr(lake, name, moved(getattr(lake, name)))
    lake.depth = dataclasses.replace(lake.depth, north_m=lake.depth.north_m + north - Y0, crs=crs)
    today = water_today(lake.depth, lake.shoreline)
    hazards = shallow_hazards(lake.depth, today.water, known_hazards=lake.known_hazards)
    count = len(POINTS)
    points = [shapely.Point(X0 + x, north + y) for x, y in POINTS]
    number = dict.fromkeys(("cast_m", "cast_bearing_deg", "deep_bearing_deg", "wind_angle_deg"), 20.0)
    ids = [f"s{k}" for k in range(count)]
    holds = gpd.GeoDataFrame(
        {"spot_id": ids, "name": [f"Spot {k}" for k in range(count)], "hold_no": 1, "status": "ok", "reason": "made",
         "depth_today_m": 6.0, "rating": np.arange(count) % 5 + 1.0, **number},
        geometry=points, crs=crs,
    )  # fmt: skip
    spots = gpd.GeoDataFrame(
        {"spot_id": ids, "name": holds["name"], "kind": "hump", "depth_m": 6.0, "height_m": 0.0,
         "rating": holds["rating"]},
        geometry=points, crs=crs,
    )  # fmt: skip
    return lake, today.water, hazards, holds, spots


def _forecast(rng, date, zone):
    """Hours of one of seven kinds of day, by the zone's clock of the start."""
    kind = rng.choice(["steady", "gale", "lull", "front", "ends", "gap", "three-hourly"])
    start = dt.datetime.combine(date, dt.time(0), zone).astimezone(dt.UTC)
    hours = np.arange(int(rng.integers(30, 48)))
    wind = rng.uniform(1.0, 5.0) + rng.uniform(0.0, 1.5, hours.size)
    origin = np.full(hours.size, rng.uniform(0.0, 360.0)) + rng.normal(0.0, 5.0, hours.size).cumsum()
    at = int(rng.integers(5, 18))
    if kind == "gale":
        wind[at : at + int(rng.integers(2, 20))] = rng.uniform(11.0, 18.0)
    elif kind == "lull":
        wind += rng.uniform(9.0, 12.0)
        wind[at : at + int(rng.integers(2, 7))] = rng.uniform(0.0, 3.0)
    elif kind == "front":
        origin[at:] += 110.0
        wind[at:] += rng.uniform(2.0, 8.0)
    keep = np.ones(hours.size, dtype=bool)
    if kind == "ends":
        keep = hours <= at
    elif kind == "gap":
        keep[at : at + int(rng.integers(1, 9))] = False
    elif kind == "three-hourly":
        keep = hours % 3 == 0
    hours, wind, origin = hours[keep], wind[keep], origin[keep] % 360.0
    if rng.random() < 0.1:
        origin[rng.integers(0, hours.size)] = np.nan
    gust = wind * rng.uniform(1.1, 1.5, hours.size) if rng.random() < 0.7 else np.full(hours.size, np.nan)
    return str(kind), Forecast(tuple(start + dt.timedelta(hours=int(h)) for h in hours), wind, gust, origin)


def _one(rng, where, lakes):
    name = PLACES[where][0]
    lake, water, hazards, holds, spots = lakes[where]
    zone = zoneinfo.ZoneInfo(name)
    date = dt.date(2026, 1, 1) + dt.timedelta(days=int(rng.integers(0, 365)))
    night, changing = bool(rng.random() < 0.15), bool(rng.random() < 0.15 and name in DST)
    clock = dt.time(int(rng.integers(0, 24)), int(rng.choice([0, 15, 30, 45])))
    if changing:
        date, night, clock = DST[name], True, dt.time(int(rng.choice([0, 1])), 15)
    limits = {
        "wind": 8.9408,
        "gust": 11.176,
        "head": float(rng.choice([0.1, 0.2, 0.6])),
        "following": 0.0,
        "beam": 0.0,
    }
    limits["following"], limits["beam"] = limits["head"], 0.75 * limits["head"]
    begin = dt.datetime.combine(date, clock, zone)
    given = {
        "hazards": hazards, "zones": lake.zones, "night": night, "time_zone": name, "depart": begin.isoformat(),
        "head_limit_m": limits["head"], "beam_limit_m": limits["beam"], "following_limit_m": limits["following"],
    }  # fmt: skip
    verdicts = exposure = None
    hourly = bool(rng.random() < 0.8)
    kind = "one wind"
    if hourly:
        kind, told = _forecast(rng, date, zone)
        found = wind_exposure(holds, water, forecast=told)
        exposure = found.exposure
        verdicts = fishable(
            spots, water, holds=holds, exposure=exposure, at_night=night, wave_limit_m=limits["head"], time_zone=name,
        ).verdicts  # fmt: skip
        hours = {
            at: (float(w), float(g), float(f))
            for at, w, g, f in zip(told.time, told.wind_mps, told.gust_mps, told.wind_from_deg, strict=True)
        }
        rows = list(
            zip(verdicts["spot_id"], verdicts["time"], verdicts["fishable"], verdicts["reason"], strict=True)
        )
    else:
        wind, origin = float(rng.uniform(0.0, 8.5)), float(rng.uniform(0.0, 360.0))
        holds = wind_exposure(holds, water, wind_from_deg=origin, wind_speed_mps=wind).places
        hours, rows = {None: (wind, float("nan"), origin)}, []
    centre = (X0 + 500.0, shapely.get_y(holds.geometry.iloc[0]))
    checker = Checker(
        shapely.union_all(water.geometry.to_numpy()), centre, holds.crs, hours, limits, night, zone, rows
    )
    by_end = bool(rng.random() < 0.5)
    over = begin + dt.timedelta(hours=float(rng.choice([2.0, 4.0, 7.0])))
    over = over.astimezone(dt.UTC).astimezone(zone)
    started = time.perf_counter()
    try:
        if by_end:
            run = day_plan(
                holds,
                lake.ramps,
                water,
                verdicts=verdicts,
                exposure=exposure,
                back_by=over.isoformat(),
                **given,
            )
        else:
            run = shortest_run(
                holds, lake.ramps, water, verdicts=verdicts, exposure=exposure, at_most=6, **given
            )
    except NothingFishable as error:
        text = str(error)
        vague = not (re.search(r"\d\d:\d\d", text) and CAUSE.search(text))
        calm = {**limits, "head": 9.9, "beam": 9.9, "following": 9.9}
        end = over if by_end else begin.replace(hour=23, minute=59)
        easy = Checker(
            shapely.union_all(water.geometry.to_numpy()), centre, holds.crs, hours,
            calm if limits["head"] >= 0.6 else limits, night, zone, rows,
        )  # fmt: skip
        straight = [shapely.LineString([lake.ramps.geometry.iloc[0], point]) for point in holds.geometry]
        fits = [
            (spot, at)
            for spot, line in zip(holds["spot_id"], straight, strict=True)
            if (
                at := easy.one_stop_fits(
                    spot, [line], begin.astimezone(dt.UTC), end.astimezone(dt.UTC), 400.0, 1700.0
                )
            )
        ]
        return kind, "refused", [], vague, fits, time.perf_counter() - started, text
    took = time.perf_counter() - started
    return kind, "planned", checker.run(run.stops, run.legs), False, [], took, str(len(run.stops) - 2)


def _waves(seed, quick):
    """On a real flooded valley: how often the band holds the restricted-fetch wave of radials at every degree.

    Places called calm enough keep 0.3 m by the upper end of the band at 15 m/s.
    """
    rng = np.random.default_rng([seed, 77])
    water = valley_shoreline().geometry.iloc[0]
    west, south, east, north = water.bounds
    shapely.prepare(water)
    found = np.empty((0, 2))
    while len(found) < (20 if quick else 200):
        more = rng.uniform((west, south), (east, north), (4000, 2))
        found = np.vstack([found, more[shapely.contains_xy(water, more)]])
    places = found[: 20 if quick else 200]
    winds = np.arange(0.0, 360.0, 15.0)
    exposed = expose(places, water, winds, np.full(winds.size, 15.0))
    dense = over_arcs(fetch_lengths(places, water, np.arange(360.0)))
    heights = np.column_stack(
        [
            restricted_waves(15.0, fetch, origin - wind)[0]
            for wind in winds
            for fetch, origin in (restricted_fetch(dense, float(wind)),)
        ]
    )
    calm = exposed.wave_high_m <= 0.3
    held = (heights <= exposed.wave_high_m + 1e-9) & (heights >= exposed.wave_low_m - 1e-9)
    return {
        "wave_cases": int(heights.size),
        "band_holds_restricted_pct": 100.0 * float(held.mean()),
        "calm_enough_cases": int(calm.sum()),
        "calm_enough_over_limit_pct": 100.0 * float((heights[calm] > 0.3).mean()) if calm.any() else 0.0,
        "straight_alone_would_hold_pct": 100.0
        * float((heights <= _straight_top(places, water, winds)).mean()),
    }


def _straight_top(places, water, winds):
    """Give the upper end of a band that knows straight fetches only."""
    fetch = fetch_lengths(places, water, winds)
    return wave_band("spm-1984", np.full(winds.size, 15.0), fetch).high_m


def measure(seed: int, quick: bool) -> dict:
    """Plan made days and have them checked."""
    count = 20 if quick else 300
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        lakes = [_lake(code, north) for _, code, north in PLACES]
        planned = refused = vague = wrongly = stops = crashed = 0
        forbidden: list[str] = []
        dark: list[str] = []
        kinds: dict[str, int] = {}
        seconds: list[float] = []
        notes: list[str] = []
        for k in range(count):
            rng = np.random.default_rng([seed, k])
            try:
                kind, what, broken, unclear, fits, took, words = _one(rng, k % len(PLACES), lakes)
            except CastshedError as error:
                crashed += 1
                notes.append(f"day {k}: {type(error).__name__}: {str(error)[:160]}")
                continue
            kinds[kind] = kinds.get(kind, 0) + 1
            seconds.append(took)
            planned, refused = planned + (what == "planned"), refused + (what == "refused")
            stops += int(words) if what == "planned" else 0
            vague += unclear
            wrongly += bool(fits)
            if unclear:
                notes.append(f"day {k}: {words[:200]}")
            if fits:
                notes.append(f"day {k} ({kind}): {fits[0]} fits, but: {words[:300]}")
            for one in broken:
                (dark if "dark" in one[0] else forbidden).append(f"day {k} ({kind}): {one}")
    return {
        "days": count,
        "planned": planned,
        "stops": stops,
        "refused": refused,
        "other_errors": crashed,
        "stops_or_legs_forbidden": len(forbidden),
        "in_the_dark_unasked": len(dark),
        "refusals_without_hour_and_cause": vague,
        "refused_though_one_stop_fits": wrongly,
        **_waves(seed, quick),
        "seconds_a_day": statistics.median(seconds) if seconds else None,
        "kinds": kinds,
        "note": "; ".join([*forbidden[:5], *dark[:5], *notes[:8]]),
    }
