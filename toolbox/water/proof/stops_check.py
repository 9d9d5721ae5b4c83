"""Whether the stops of a run are where its holds and legs are, and its pieces follow one another from ramp to ramp.

Part of the proof of a run; shares nothing with the search for ways.

Part of the last check; shares nothing with the search for ways.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
import shapely

from .keep_out import TOLERANCE_M, Violation

if TYPE_CHECKING:
    from collections.abc import Iterator

    import geopandas as gpd

    from ...arrays import Floats

APART_M: Final = 0.1
"""A stop may be so far from its hold and from the end of its leg: less than anyone can steer."""

_SLACK_S: Final = 2.0  # times are told in whole seconds
_SPEED_SHARE: Final = 0.01


def _xy(shape: Any) -> tuple[float, float]:
    x, y = shapely.get_coordinates(shape)[0]
    return float(x), float(y)


def held_at(stops: gpd.GeoDataFrame, holds: gpd.GeoDataFrame) -> dict[int, Any]:
    """Find the hold of each stop, by the stop's place in the run: of several of one spot, the nearest to the stop."""
    usable = holds[holds["status"] == "ok"]
    spots = usable["spot_id"].astype(str).to_numpy()
    points = usable.geometry.to_numpy()
    numbers = pd.to_numeric(usable["hold_no"], errors="coerce").to_numpy(dtype=float)
    told = (
        pd.to_numeric(stops["hold_no"], errors="coerce").to_numpy(dtype=float)
        if "hold_no" in stops.columns
        else np.full(len(stops), np.nan)
    )
    taken: dict[int, Any] = {}
    rows = zip(stops["spot_id"].astype(str), stops.geometry, told, strict=True)
    for place, (spot, point, number) in enumerate(rows):
        own = np.flatnonzero((spots == spot) & (np.isnan(number) | (numbers == number)))
        if len(own):
            taken[place] = usable.index[own[int(np.argmin(shapely.distance(points[own], point)))]]
    return taken


def _numbered(stops: gpd.GeoDataFrame) -> Iterator[Violation]:
    number = stops["stop_no"].to_numpy(dtype=float)
    for place in np.flatnonzero(number != np.arange(len(number))).tolist():
        told = f"stop {number[place]:g} ({stops['spot_id'].iloc[place]})"
        yield Violation(told, f"should have the number {place}: stops are numbered from 0, each once")


def _at_ramps(
    stops: gpd.GeoDataFrame, holds: gpd.GeoDataFrame, ramps: gpd.GeoDataFrame | None, level_m: float
) -> Iterator[Violation]:
    for place, word in ((0, "begins"), (-1, "ends")):
        spot, at = str(stops["spot_id"].iloc[place]), stops.geometry.iloc[place]
        own = holds.geometry[(holds["spot_id"].astype(str) == spot) & (holds["status"] == "ok")]
        if str(stops["reason"].iloc[place]) == "hold" or bool((own.distance(at) <= APART_M).any()):
            yield Violation("the run", f"{word} at the hold of {spot} and not at a ramp", *_xy(at))
        if ramps is None:
            continue
        named = ramps[ramps["ramp_id"].astype(str) == spot]
        if named.empty:
            yield Violation("the run", f"{word} at {spot}; there is no ramp of that name", *_xy(at))
            continue
        gap = float(named.distance(at).min())
        if gap > APART_M:
            yield Violation("the run", f"does not {word[:-1]} where the ramp {spot} is", *_xy(at), gap)
        if bool((level_m < named["min_level_m"].to_numpy(dtype=float)).all()):
            yield Violation("the run", f"{word} at {spot}, which can't be used at this level", *_xy(at))


def _on_holds(stops: gpd.GeoDataFrame, holds: gpd.GeoDataFrame, held: dict[int, Any]) -> Iterator[Violation]:
    seen: dict[Any, int] = {}
    for place in range(1, len(stops) - 1):
        spot, at = str(stops["spot_id"].iloc[place]), stops.geometry.iloc[place]
        name = f"stop {place} ({spot})"
        if place not in held:
            yield Violation(name, "has no hold that could be checked", *_xy(at))
            continue
        gap = float(shapely.distance(at, holds.geometry[held[place]]))
        if gap > APART_M:
            yield Violation(name, "does not lie on its hold", *_xy(at), gap)
        if held[place] in seen:
            yield Violation(name, f"is the same hold as stop {seen[held[place]]}", *_xy(at))
        seen[held[place]] = place


def _led_to(stops: gpd.GeoDataFrame, legs: gpd.GeoDataFrame) -> Iterator[Violation]:
    """Leg n leads from stop n - 1 to stop n, by name and by place; it is left out only where the two share a place."""
    number = legs["leg_no"].to_numpy(dtype=float)
    known = np.isin(number, np.arange(1, len(stops)))
    for row in np.flatnonzero(~known).tolist():
        goal = legs["to_id"].iloc[row]
        yield Violation(f"leg {number[row]:g}", f"leads to {goal}, stop {number[row]:g} is none")
    ids, points = stops["spot_id"].astype(str).to_list(), stops.geometry.to_numpy()
    lines = legs.geometry.to_numpy()
    origins, goals = legs["from_id"].astype(str).to_numpy(), legs["to_id"].astype(str).to_numpy()
    for place in range(1, len(stops)):
        rows = np.flatnonzero(number == place)
        if not len(rows):
            gap = float(shapely.distance(points[place - 1], points[place]))
            if gap > TOLERANCE_M:
                yield Violation(f"stop {place}", f"({ids[place]}) is on no leg", *_xy(points[place]), gap)
            continue
        for told, due, word in ((origins, ids[place - 1], "begins at"), (goals, ids[place], "leads to")):
            for one in sorted({str(one) for one in told[rows]} - {due}):
                yield Violation(
                    f"leg {place}",
                    f"{word} {one}, stop {place - (word[0] == 'b')} is {due}",
                    *_xy(points[place]),
                )
        for end, there, word in ((0, place - 1, "begin"), (-1, place, "end")):
            at = shapely.get_point(lines[rows[end]], end)
            gap = float(shapely.distance(at, points[there]))
            if gap > APART_M:
                yield Violation(f"leg {place}", f"does not {word} where stop {there} is", *_xy(at), gap)


def _timed(stops: gpd.GeoDataFrame, legs: gpd.GeoDataFrame) -> Iterator[Violation]:
    """Find times out of order or too short for their legs, and idling at more than one speed."""
    seconds = legs["time_s"].to_numpy(dtype=float)
    length = np.asarray(shapely.length(legs.geometry.to_numpy()))
    number = legs["leg_no"].to_numpy(dtype=float)
    for row in np.flatnonzero(
        ~(np.isfinite(seconds) & (seconds >= 0.0) & ((seconds > 0.0) | (length < 1e-3)))
    ):
        yield Violation(f"leg {number[row]:g}", f"is to take {seconds[row]:g} s for {length[row]:.6g} m")
    slow = legs["slow_m"].to_numpy(dtype=float)
    part = legs["part"].to_numpy(dtype=object)
    rows = np.flatnonzero(
        np.isin(part, ("idle", "launch")) & (slow == 0.0) & (length > 1.0) & (seconds > 0.0)
    )
    speed = length[rows] / seconds[rows]
    for slow_row, mps in zip(rows.tolist(), speed.tolist(), strict=True):
        if mps > float(speed.min()) * (1.0 + _SPEED_SHARE):
            yield Violation(
                f"leg {number[slow_row]:g}",
                f"is said to be {part[slow_row]}, at {mps:.3g} m/s where the boat idles at {speed.min():.3g}",
            )
    told = [
        (place, stops[word].iloc[place], word) for place in range(len(stops)) for word in ("arrive", "leave")
    ]
    before: tuple[Any, str] | None = None
    for place, text, word in told:
        if not isinstance(text, str) or text == "":
            continue
        try:
            at = pd.Timestamp(text)
            gone = 0.0 if before is None else (at - before[0]).total_seconds()
        except (ValueError, TypeError):
            yield Violation(
                f"stop {place}", f"has '{text}' for the time to {word}, which is no time like the others"
            )
            continue
        needed = float(seconds[number == place].sum()) if word == "arrive" and before is not None else 0.0
        if before is not None and not gone >= needed - (_SLACK_S if needed else 0.0):
            yield Violation(
                f"stop {place}",
                f"has {text} for the time to {word}, {gone:g} s after {before[1]}; {needed:.0f} s are needed",
            )
        before = (at, f"the time to {word} before" if word == "leave" else "the arrival")


def stop_violations(
    stops: gpd.GeoDataFrame,
    legs: gpd.GeoDataFrame,
    holds: gpd.GeoDataFrame,
    held: dict[int, Any],
    ramps: gpd.GeoDataFrame | None,
    level_m: float,
) -> list[Violation]:
    """Find stops that are not where the run says.

    Parameters
    ----------
    stops, legs
        In the order of the run, the ramps first and last.
    holds, held
        Holds, and the label of the hold of each stop, from `held_at`.
    ramps, level_m
        Ramps, or None where they are not known, and today's level.
    """
    return [
        *_numbered(stops),
        *_at_ramps(stops, holds, ramps, level_m),
        *_on_holds(stops, holds, held),
        *_led_to(stops, legs),
        *_timed(stops, legs),
    ]


def _apart(one: Any, other: Any) -> float:
    return float(np.hypot(*(np.asarray(one) - np.asarray(other))))


def _joins(names: list[str], begin: Floats, end: Floats, start: Floats, goal: Floats) -> Iterator[Violation]:
    at, loose = start, 0.0
    for name, first, last in zip(names, begin, end, strict=True):
        if (gap := _apart(at, first)) > TOLERANCE_M:
            yield Violation(name, "does not begin where the run had come to", first[0], first[1], gap)
            at = first
        loose += _apart(at, first)
        at = last
    if loose > TOLERANCE_M:
        # Each gap alone is rounding; many of them are a way that nobody looked at.
        yield Violation("the run", "is cut into pieces with gaps between them", by_m=loose)
    if (gap := _apart(at, goal)) > TOLERANCE_M:
        yield Violation("the run", "does not end at its end", at[0], at[1], gap)


def _numbers(legs: gpd.GeoDataFrame, names: list[str], begin: Floats) -> Iterator[Violation]:
    """Ids lead on from leg to leg."""
    ways = legs[["leg_no", "from_id", "to_id"]].to_numpy(dtype=object)
    for row in range(1, len(ways)):
        (no, origin, goal), (before, came_from, came_to) = ways[row], ways[row - 1]
        if no == before and (origin, goal) != (came_from, came_to):
            yield Violation(
                names[row], f"goes from {origin} to {goal} within the leg to {came_to}", *begin[row]
            )
        # A leg number is left out where two stops share a place.
        if no == before + 1 and origin != came_to:
            yield Violation(
                names[row], f"begins at {origin} though the run had come to {came_to}", *begin[row]
            )


def _stops(
    legs: gpd.GeoDataFrame, holds: gpd.GeoDataFrame, end: Floats, start: Floats
) -> Iterator[Violation]:
    """Every hold is where a leg ends, or where the run starts, and every leg but the last ends at a hold."""
    number = legs["leg_no"].to_numpy(dtype=float)
    goal = legs["to_id"].astype(str).to_numpy()
    final = (
        np.flatnonzero(np.append(number[1:] != number[:-1], True))
        if len(number)
        else np.empty(0, dtype=np.intp)
    )
    held = shapely.get_coordinates(holds.geometry.to_numpy())
    ids = holds["spot_id"].astype(str).to_numpy()
    for spot, (x, y) in zip(ids, held, strict=True):
        own = final[goal[final] == spot]
        # No leg leads to a hold in the place of another stop, the first included.
        near = end[own] if len(own) else np.vstack([end[final], start])
        gap = float(np.hypot(*(near - (x, y)).T).min())
        if gap > TOLERANCE_M:
            by = gap if len(own) else float("nan")
            yield Violation(
                f"the hold of {spot}",
                "is not where the leg to it ends" if len(own) else "is not reached",
                x,
                y,
                by,
            )
    for row in final[:-1]:
        if goal[row] not in ids:
            yield Violation(f"the stop {goal[row]}", "has no hold that could be checked", *end[row])


def chain_violations(
    legs: gpd.GeoDataFrame, names: list[str], holds: gpd.GeoDataFrame, *, start: Any, end: Any
) -> list[Violation]:
    """Find where a run is not one line from its start over every hold to its end.

    Parameters
    ----------
    legs, names
        Pieces of legs in the order they are travelled, and what to call them.
    holds
        Holds at which the run stops.
    start, end
        Points at which the run begins and ends.
    """
    lines = legs.geometry.to_numpy()
    first = shapely.get_coordinates(shapely.get_point(lines, 0))
    last = shapely.get_coordinates(shapely.get_point(lines, -1))
    points = shapely.get_coordinates([start, end])
    return [
        *_joins(names, first, last, points[0], points[1]),
        *_numbers(legs, names, first),
        *_stops(legs, holds, last, points[0]),
    ]
