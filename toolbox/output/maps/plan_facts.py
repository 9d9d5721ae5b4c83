"""What a sheet says of a plan in words and numbers: stops, legs, holds, spots left out, totals."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from ...lon_lat import true_bearings
from ...text import (
    at_least,
    bearing_text,
    boat_position,
    both_distances,
    both_lengths,
    both_speeds,
    both_waves,
    clock,
    length_and_error,
    number,
    one_distance,
    one_line,
    units_in_order,
)
from .chart_table import records

if TYPE_CHECKING:
    import geopandas as gpd

    from ...magnetic import Declination

    Frames = Mapping[str, gpd.GeoDataFrame]

_SHORT_M = 30.0  # stretches of a leg shorter than this are not named in its list of courses


@dataclass(frozen=True)
class StopFacts:
    """What there is to know of a stop, as text; empty where it is not known."""

    number: str
    spot_id: str
    name: str
    ramp: bool
    arrive: str
    leave: str
    kind: str
    what: str
    depth: str
    hold: str
    cast: str
    deep_side: str
    wind: str
    wave: str
    note: str
    turn_back: str = ""
    plan_b: str = ""
    deep_note: str = ""
    place: str = ""


@dataclass(frozen=True)
class Turn:
    """A place where a leg changes its course, and how to get there: number, true course, distance, part of the leg."""

    number: str
    course: str
    distance: str
    how: str
    x: float
    y: float


@dataclass(frozen=True)
class LegFacts:
    """What there is to know of a leg."""

    number: int
    start: str
    goal: str
    distance: str
    time: str
    depth: str
    hazard: str
    courses: list[str]
    slow: str
    idle: str
    course_deg: float
    line: Any
    pieces: list[tuple[str, Any]] = field(repr=False, default_factory=list)
    turns: list[Turn] = field(repr=False, default_factory=list)


def _places(holds: gpd.GeoDataFrame | None) -> list[str]:
    """Say where each hold is, in degrees and minutes of WGS84."""
    if holds is None or not len(holds):
        return []
    points = holds.geometry.representative_point().to_crs("EPSG:4326")
    return [boat_position(x, y) for x, y in zip(points.x, points.y, strict=True)]


def _text(value: float, say: Any, **more: Any) -> str:
    return say(value, **more) if math.isfinite(value) else ""


def _depth(value_m: float, error_m: float, *, metric: bool) -> str:
    return length_and_error(value_m, error_m, metric_first=metric) if math.isfinite(value_m) else ""


def _least_and_sure(pieces: Any) -> tuple[float, float]:
    """Tell the least depth of pieces of a leg, and what of it may be counted on; NaN where that is not told."""
    if not len(pieces):
        return math.nan, math.nan
    least = pieces["min_depth_m"].astype(float)
    if "min_depth_error_m" not in pieces or pieces["min_depth_error_m"].isna().all():
        return float(least.min()), math.nan
    error = pieces["min_depth_error_m"].astype(float).fillna(0.0)
    return float(least.min()), float((least - error).min())


def stops_of(frames: Frames, *, metric: bool, declination: Declination | None = None) -> list[StopFacts]:
    """Tell of each stop, in order; bearings are true, with magnetic ones beside them where a declination is given."""

    def bearing(value_deg: float) -> str:
        return said_bearing(value_deg, declination)

    holds: dict[str, dict[str, Any]] = {}
    told = zip(records(frames.get("holds")), _places(frames.get("holds")), strict=True)
    for row, place in told:
        holds.setdefault(one_line(row.get("spot_id")), {**row, "place": place})
    spots = {one_line(row.get("spot_id")): row for row in records(frames.get("spots"))}
    found = []
    for row in sorted(records(frames.get("stops")), key=lambda one: number(one.get("stop_no"))):
        spot_id = one_line(row.get("spot_id"))
        hold, spot = holds.get(spot_id, {}), spots.get(spot_id, {})
        ramp = one_line(row.get("reason")) == "ramp" or (not hold and not spot)
        cast, towards = number(hold.get("cast_m")), number(hold.get("cast_bearing_deg"))
        thrown = _text(cast, both_lengths, metric_first=metric)
        wind, come = number(row.get("wind_mps")), number(hold.get("wind_from_deg"))
        deep = number(hold.get("deep_bearing_deg"))
        found.append(
            StopFacts(
                number=f"{number(row.get('stop_no')):.0f}",
                spot_id=spot_id,
                name=one_line(row.get("name")) or spot_id,
                ramp=ramp,
                arrive=clock(row.get("arrive")),
                leave=clock(row.get("leave")),
                kind="ramp" if ramp else one_line(spot.get("kind")).replace("_", " "),
                what=one_line(spot.get("description") or ""),
                depth=_text(number(spot.get("depth_today_m")), both_lengths, metric_first=metric),
                hold=_depth(
                    number(hold.get("depth_today_m")), number(hold.get("depth_error_m")), metric=metric
                ),
                cast=f"{thrown} to {bearing(towards)}" if thrown and math.isfinite(towards) else thrown,
                deep_side=_text(deep, bearing),
                deep_note="" if math.isfinite(deep) else one_line(hold.get("reason") or ""),
                place=one_line(hold.get("place") or ""),
                wind=_text(wind, both_speeds, metric_first=metric)
                + (f" from {bearing_text(come)}" if math.isfinite(wind) and math.isfinite(come) else ""),
                wave=_text(number(row.get("wave_m")), both_waves, metric_first=metric),
                note=one_line(spot.get("note") or ""),
                turn_back=clock(row.get("turn_back")),
                plan_b=one_line(
                    spots.get(one_line(row.get("plan_b")), {}).get("name") or row.get("plan_b") or ""
                ),
            )
        )
    return found


def _bearing(one: Any, other: Any) -> float:
    return float(np.degrees(np.arctan2(other[0] - one[0], other[1] - one[1])) % 360.0)


def said_bearing(true_deg: float, declination: Declination | None) -> str:
    """Say a true bearing, with the magnetic one beside it where a declination is given."""
    told = bearing_text(true_deg)
    return told if declination is None else f"{told} ({declination.magnetic_text(true_deg)})"


def _turns(
    pieces: list[tuple[str, Any]], crs: Any, *, metric: bool, declination: Declination | None
) -> list[Turn]:
    """List the turns of a leg in order, the last one its end: true course and distance to each.

    Short stretches are joined to the one before. Lengths are told in the first system alone: a card beside the wheel
    has room for all turns or for both systems.
    """
    runs: list[tuple[str, list[Any]]] = []
    for part, line in pieces:
        xy = shapely.get_coordinates(line)
        for one, other in pairwise(xy):
            short = math.dist(one, other) < _SHORT_M
            if runs and runs[-1][0] == part and short:
                runs[-1][1].append(other)
            else:
                runs.append((part, [one, other]))
    if not runs:
        return []
    starts = np.array([points[0] for _, points in runs])
    grid = np.array([_bearing(points[0], points[-1]) for _, points in runs])
    true = true_bearings(grid, crs, *starts.T)
    found = []
    for order, ((part, points), course) in enumerate(zip(runs, true.tolist(), strict=True), start=1):
        length = sum(math.dist(a, b) for a, b in pairwise(points))
        found.append(
            Turn(
                number=str(order) if order < len(runs) else "",
                course=said_bearing(course, declination),
                distance=one_distance(length, metric=metric),
                how="" if part == "run" else part,
                x=float(points[-1][0]),
                y=float(points[-1][1]),
            )
        )
    return found


def _course_text(turn: Turn) -> str:
    return f"{turn.course} {turn.distance}" + (f" ({turn.how})" if turn.how else "")


def legs_of(
    frames: Frames, names: Mapping[str, str], *, metric: bool, declination: Declination | None = None
) -> list[LegFacts]:
    """Tell of each leg, in order; a leg's pieces are told together.

    Courses and turns are those of the layer ``route`` where there is one: few turns, far apart.
    """
    legs, route = frames.get("legs"), frames.get("route")
    if legs is None or not len(legs):
        return []
    found = []
    for number_, own in legs.groupby("leg_no", sort=True):
        parts = own["part"].astype(str).to_list()
        pieces = list(zip(parts, own.geometry.to_list(), strict=True))
        if route is not None and (route["leg_no"] == number_).any():
            thinned = route[route["leg_no"] == number_]
            pieces = list(zip(thinned["part"].astype(str), thinned.geometry.to_list(), strict=True))
        turns = _turns(pieces, legs.crs, metric=metric, declination=declination)
        xy = np.concatenate([shapely.get_coordinates(line) for _, line in pieces])
        afloat = own[own["part"] != "launch"]
        near = (
            afloat.loc[[afloat["min_clearance_m"].idxmin()]]
            if afloat["min_clearance_m"].notna().any()
            else None
        )
        hazard = ""
        if near is not None:
            row = records(near)[0]
            hazard = both_distances(number(row["min_clearance_m"]), metric_first=metric)
            told = units_in_order(one_line(row.get("nearest_hazard")), metric_first=metric)
            what, side = told, one_line(row.get("hazard_side"))
            what = "thin water" if what.startswith("less than") else what
            where = f"to {side}" if side in {"port", "starboard"} else side
            hazard += f" {where}: {what}" if side and what else ""
        seconds = float(own["time_s"].sum())
        slow, idle = float(own["slow_m"].sum()), float(own.loc[own["part"] == "idle", "distance_m"].sum())
        least, sure = _least_and_sure(afloat)
        first, last = one_line(own["from_id"].iloc[0]), one_line(own["to_id"].iloc[-1])
        found.append(
            LegFacts(
                number=int(number_),
                start=names.get(first, first),
                goal=names.get(last, last),
                distance=both_distances(float(own["distance_m"].sum()), metric_first=metric),
                time=f"{max(1, round(seconds / 60.0))} min",
                depth=_depth(least, least - sure, metric=metric),
                hazard=hazard,
                courses=[_course_text(turn) for turn in turns],
                slow=both_distances(slow, metric_first=metric) if slow > 0.5 else "",
                idle=both_distances(idle, metric_first=metric) if idle > 0.5 else "",
                course_deg=_bearing(xy[0], xy[-1]),
                line=shapely.linestrings(xy) if len(xy) > 1 else None,
                pieces=pieces,
                turns=turns,
            )
        )
    return found


def totals_in_words(
    frames: Frames, *, metric: bool, more: Mapping[str, str] | None = None
) -> list[tuple[str, str]]:
    """Sum the plan up in pairs of words: distance, time under way, stops; and what else is known, such as sun times."""
    legs, stops = frames.get("legs"), frames.get("stops")
    pairs: list[tuple[str, str]] = []
    if stops is not None and len(stops):
        pairs.append(("Stops", f"{max(len(stops) - 2, 0)}"))
        first, last = clock(stops["leave"].iloc[0]), clock(stops["arrive"].iloc[-1])
        if first and last:
            pairs.append(("Away from the ramp", f"{first} to {last}"))
    if legs is not None and len(legs):
        pairs.append(("Distance", both_distances(float(legs["distance_m"].sum()), metric_first=metric)))
        pairs.append(("Under way", f"{at_least(float(legs['time_s'].sum()) / 60.0, 0)} min"))
    return [*pairs, *(more or {}).items()]


def answers_of(frames: Frames) -> dict[str, str]:
    """Take from the layer ``answers`` of a day plan what belongs with the totals and the questions people ask."""
    return {
        one_line(row.get("question")).capitalize(): one_line(row.get("answer"))
        for row in records(frames.get("answers"))
    }
