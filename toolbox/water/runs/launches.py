"""Launches: the shortest way from a ramp to water the boat can use, by its own lane and then afloat.

A ramp ends in thin water by nature: a boat goes down its lane on the trailer. The lane is straight and no longer than
`LANE_M`; beyond it the boat is afloat, and nowhere on a launch is there a charted thing, a closed zone or other water
that is usable and left again.

Ramps: the one that is meant, and whether it can be used today.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...arrays import Flags, Floats, Geometries
from ...errors import NoSafeWay, UsageError
from ...units import in_words
from ..level.isobaths import shallower_than, unknown_area
from ..ways.safe_water import kept_out_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from geopandas import GeoDataFrame

    from ...depth import DepthSurface
    from ..ways.safe_water import LakeToday

LANE_M: Final = 50.0
"""Longest lane of a ramp, over dry ground and water too thin to float: a slab of 12 % over 6 m of fallen water.

Ramps are built at 12 to 15 % (common practice); what lies farther from the water is not in use.
"""
BOTTOM: Final = "bottom"
NO_DEPTH: Final = "no depth"

_LEAST_M: Final = 1e-6  # a shorter crossing is rounding
_NUDGES_M: Final = (1e-6, 1e-4, 1e-2)
_OFF_M: Final = 0.05  # corners a launch may bend at lie so far outside of what it goes around
_FEW: Final = 1500  # corners looked at


@dataclass(frozen=True, eq=False)
class LaunchGround:
    """What a launch is held to near one ramp."""

    # what no part of it may enter: charted things with their radius and position error, closed zones
    hard: Any
    dry: Any  # ground and water that floats no boat: only the lane may lie on it


def charted_things(hazards: Any) -> Any:
    """Take the hazards at idle that are no thin bottom; where a layer does not tell the cause, all of them."""
    if hazards is None or "cause" not in hazards.columns:
        return hazards
    return hazards[~hazards["cause"].isin([BOTTOM, NO_DEPTH]).to_numpy()]


def _near(frame: Any, window: Any) -> Any:
    if frame is None or not len(frame):
        return None
    return frame.iloc[np.flatnonzero(shapely.intersects(frame.geometry.to_numpy(), window))]


def _with_cause(hazards: Any, *causes: str) -> Any:
    if hazards is None or "cause" not in hazards.columns:
        return None
    return hazards[hazards["cause"].isin(causes).to_numpy()]


def launch_ground(
    ramp: Any, lake: LakeToday, water: Any, closed: Any, *, float_m: float, reach_m: float
) -> LaunchGround:
    """Gather what a launch from one ramp is held to.

    Parameters
    ----------
    ramp
        Point of the ramp.
    lake
        Layers of the day, and today's depths if known. Without depths all thin water counts as dry.
    water, closed
        Today's water and the closed zones, each as one geometry.
    float_m
        Charted depth, today, at which the boat floats whatever the errors.
    reach_m
        Longest launch.
    """
    x, y = ramp.x, ramp.y
    window = shapely.box(x - reach_m, y - reach_m, x + reach_m, y + reach_m)
    near = _near(lake.hazards, window)
    things = kept_out_of(charted_things(near), "care", "run") if near is not None else []
    hard = shapely.union_all([*things, shapely.intersection(closed, window)])
    dry = [shapely.difference(window, water)]
    bare = kept_out_of(_with_cause(near, NO_DEPTH), "care", "run")
    if lake.today is None:
        bare += kept_out_of(_with_cause(near, BOTTOM), "care", "run")
    else:
        dry.append(_too_thin(lake.today, window, float_m))
    return LaunchGround(hard, shapely.union_all([*dry, *bare]))


def _too_thin(today: DepthSurface, window: Any, float_m: float) -> Any:
    """Draw what is less deep than a boat needs to float, or has no depth, within a window."""
    cell = 2.0 * max(today.cell_x_m, today.cell_y_m)
    west, south, east, north = window.bounds
    grid = shapely.box(*today.bounds)
    outside = shapely.difference(window, grid)
    if not shapely.intersects(grid, shapely.box(west, south, east, north)):
        return outside
    part = today.window(west - cell, south - cell, east + cell, north + cell)
    return shapely.union_all([outside, shallower_than(part, float_m), unknown_area(part)])


def _clear(lines: Geometries, areas: Any) -> Flags:
    """Whether lines keep out of areas; their edge may be touched."""
    fits = np.ones(len(lines), dtype=bool)
    touched = np.flatnonzero(shapely.intersects(areas, lines))
    fits[touched] = shapely.length(shapely.intersection(lines[touched], areas)) <= _LEAST_M
    return fits


def _lane(line: Any, dry: Any) -> tuple[float, float]:
    """How far a straight line from a ramp stays dry, and the length that lies dry beyond.

    Ground put together of pieces may have seams, so stretches that touch are one.
    """
    parts = shapely.get_parts(shapely.intersection(line, dry))
    parts = parts[shapely.length(parts) > _LEAST_M]
    ends = shapely.line_locate_point(line, shapely.get_point(parts, 0))
    others = shapely.line_locate_point(line, shapely.get_point(parts, -1))
    lane_m = beyond_m = 0.0
    for start, end in sorted(zip(np.minimum(ends, others), np.maximum(ends, others), strict=True)):
        if start <= lane_m + _LEAST_M:
            lane_m = max(lane_m, float(end))
        else:
            beyond_m += float(end - start)
    return lane_m, beyond_m


def _from_ramp(lines: Geometries, ground: LaunchGround) -> Flags:
    """Whether straight lines from a ramp are a lane and then afloat."""
    fits = _clear(lines, ground.hard)
    for row in np.flatnonzero(fits):
        lane_m, beyond_m = _lane(lines[row], ground.dry)
        fits[row] = beyond_m == 0.0 and lane_m <= LANE_M
    return fits


def moved_in(point: Any, origin: Any, part: Any) -> Any | None:
    """Move a point on the edge of a water a hair's breadth in, straight on where that leads in."""
    (x, y), (from_x, from_y) = point.coords[0], origin.coords[0]
    length = float(shapely.distance(point, origin))
    for nudge in _NUDGES_M:
        onward = shapely.Point(x + (x - from_x) / length * nudge, y + (y - from_y) / length * nudge)
        if shapely.contains_properly(part, onward):
            return onward
        near = shapely.intersection(
            part, shapely.box(x - 100 * nudge, y - 100 * nudge, x + 100 * nudge, y + 100 * nudge)
        )
        inner = shapely.buffer(near, -nudge, join_style="mitre")
        if not inner.is_empty:
            inward = shapely.get_point(shapely.shortest_line(inner, point), 0)
            if shapely.contains_properly(part, inward):
                return inward
    return None


def _corners(obstacles: Any, ramp: Any, reach_m: float) -> Floats:
    """Places a launch may bend at: the corners of what it goes around, a hand outside."""
    tolerance = _OFF_M
    while True:
        outline = shapely.simplify(shapely.buffer(obstacles, 2.0 * tolerance, join_style="mitre"), tolerance)
        xy = shapely.get_coordinates(outline)
        xy = np.unique(xy[np.hypot(*(xy - (ramp.x, ramp.y)).T) < reach_m], axis=0)
        if len(xy) <= _FEW:
            return xy
        tolerance *= 2.0


def _lane_ends(corners: Floats, ramp: Any, dry: Any) -> Floats:
    """Where straight lanes from a ramp past each corner come to water that floats the boat, a hand beyond."""
    off = corners - (ramp.x, ramp.y)
    away = np.hypot(*off.T)
    off, away = off[away > 0.0], away[away > 0.0]
    if not len(off):
        return np.empty((0, 2))
    way = off / away[:, None]
    ends = (ramp.x, ramp.y) + way * LANE_M
    starts = np.broadcast_to((ramp.x, ramp.y), ends.shape)
    lanes: Any = shapely.linestrings(np.stack([starts, ends], axis=1))
    lane_m = np.array([_lane(line, dry)[0] for line in lanes])
    dry_at_first = lane_m > 0.0
    return np.asarray((ramp.x, ramp.y) + way[dry_at_first] * (lane_m[dry_at_first] + _OFF_M)[:, None])


def shortest_launch(ramp: Any, part: Any, ground: LaunchGround, others: Any, *, reach_m: float) -> Any | None:
    """Find the shortest launch from a ramp into one usable water.

    Parameters
    ----------
    ramp
        Point of the ramp, outside that water.
    part
        Polygon the boat may idle in.
    ground
        From `launch_ground`.
    others
        The other waters it may idle in: a launch ends in the first it comes to.
    reach_m
        Longest launch.

    Returns
    -------
    LineString or None
        From the ramp to a hair's breadth within the water; None where there is none.

    Notes
    -----
    A shortest way among areas bends at their corners alone and comes to its goal at the place nearest to the last
    bend; Dijkstra's search over corners that see one another therefore finds it, to a few centimetres: the corners
    used lie a hand outside. Its first stretch is straight until it is afloat, as a ramp is.
    """
    ground = LaunchGround(shapely.union(ground.hard, others), ground.dry)
    afloat = shapely.union(ground.hard, ground.dry)
    shapely.prepare(afloat)
    shapely.prepare(ground.hard)
    places = np.array([[ramp.x, ramp.y]])
    cost = np.zeros(1)
    before = np.full(1, -1)
    done = np.zeros(1, dtype=bool)
    heap: list[tuple[float, int]] = [(0.0, 0)]
    best_m, best = reach_m, None
    while heap:
        here_m, here = heapq.heappop(heap)
        if done[here] or here_m >= best_m:
            continue
        done[here] = True
        origin = shapely.Point(places[here])

        def passes(lines: Geometries, here: int = here) -> Flags:
            return _from_ramp(lines, ground) if here == 0 else _clear(lines, afloat)

        goal = shapely.get_point(shapely.shortest_line(part, origin), 0)
        rest_m = float(shapely.distance(goal, origin))
        if rest_m > 0.0 and here_m + rest_m <= best_m:
            entry = moved_in(goal, origin, part)
            last = None if entry is None else shapely.LineString([origin, entry])
            if last is not None and passes(np.array([last], dtype=object))[0]:
                best_m, best = here_m + rest_m, (here, entry)
        if len(places) == 1:
            if best is not None:
                break  # straight to the nearest place: nothing is shorter
            more = _corners(shapely.union(afloat, part), ramp, reach_m)
            past = np.concatenate([more, _corners(ground.hard, ramp, LANE_M)])
            more = np.concatenate([more, _lane_ends(past, ramp, ground.dry)])
            places = np.concatenate([places, more])
            cost = np.append(cost, np.full(len(more), np.inf))
            before = np.append(before, np.full(len(more), -1))
            done = np.append(done, np.zeros(len(more), dtype=bool))
        step = np.hypot(*(places - places[here]).T)
        open_ = np.flatnonzero(~done & (here_m + step < np.minimum(cost, best_m)) & (step > 0.0))
        if not len(open_):
            continue
        ends = np.stack([np.broadcast_to(places[here], (len(open_), 2)), places[open_]], axis=1)
        for row in open_[passes(np.asarray(shapely.linestrings(ends), dtype=object))].tolist():
            cost[row], before[row] = here_m + step[row], here
            heapq.heappush(heap, (float(cost[row]), row))
    if best is None:
        return None
    at, entry = best
    assert entry is not None
    way = [(entry.x, entry.y)]
    while at >= 0:
        way.append((float(places[at, 0]), float(places[at, 1])))
        at = int(before[at])
    return shapely.LineString(way[::-1])


def launch_from(
    ramp: Any, idling: Any, ground: Callable[[], LaunchGround], *, holds: Geometries, reach_m: float
) -> tuple[Any | None, Any | None]:
    """Find where a boat from a ramp has the water it needs, and the launch that leads there.

    Parameters
    ----------
    ramp
        Point of the ramp.
    idling
        Water the boat may idle in.
    ground
        Makes what a launch is held to, as `launch_ground`.
    holds
        Points the run is to visit: of several waters the one with most of them is tried first.
    reach_m
        Longest launch.

    Returns
    -------
    The entry and the launch. The ramp itself and None where it lies in such water; None twice where there is none.
    """
    parts = np.asarray(shapely.get_parts(idling), dtype=object)
    parts = parts[shapely.dwithin(parts, ramp, reach_m)] if len(parts) else parts
    if not len(parts):
        return None, None
    shapely.prepare(parts)
    away = shapely.distance(parts, ramp)
    if shapely.contains_properly(parts, ramp).any() or not away.all():
        return ramp, None
    held_to = ground()
    count = np.array([int(shapely.intersects(part, holds).sum()) for part in parts])
    for row in np.lexsort((away, -count)):
        line = shortest_launch(
            ramp, parts[row], held_to, shapely.union_all(np.delete(parts, row)), reach_m=reach_m
        )
        if line is not None:
            return shapely.get_point(line, -1), line
    return None, None


def ramp_of(ramps: GeoDataFrame, told: str, level_m: float, what: str) -> Any:
    """Find a ramp by id or name; the first one when none is named.

    Raises
    ------
    UsageError
        There is no such ramp.
    NoSafeWay
        It can't be used at this level; the message names those that can.
    """
    there = ", ".join(
        f"{row.ramp_id} ({row.name})" if row.name else row.ramp_id for row in ramps.itertuples(index=False)
    )
    fits = (
        ramps
        if not told
        else ramps[(ramps["ramp_id"] == told) | (ramps["name"].str.casefold() == told.casefold())]
    )
    if fits.empty:
        raise UsageError(f"{what} is '{told}'; there is no such ramp. Choose one of: {there}.")
    ramp = fits.iloc[0]
    if level_m < ramp["min_level_m"]:
        usable = ramps[~(level_m < ramps["min_level_m"])]
        others = ", ".join(usable["name"].where(usable["name"] != "", usable["ramp_id"])) or "none"
        raise NoSafeWay(
            f"The ramp {ramp['name'] or ramp['ramp_id']} can't be used at {in_words(level_m, 'length')}: it needs "
            f"{in_words(float(ramp['min_level_m']), 'length')} or more. Ramps usable today: {others}."
        )
    return ramp


def why_no_launch(ramp: Any, idling: Any, launch_m: float) -> str:
    """Tell why a boat finds no water it can use from a ramp."""
    if idling.is_empty:
        return "lies shut in today: there is no water that this boat can use"
    away_m = float(shapely.distance(ramp, idling))
    away = in_words(away_m, "length")
    if away_m > launch_m:
        return f"lies on dry ground or shut in today: the water this boat can use begins {away} away"
    return (
        f"can't be used today: the water this boat can use begins {away} away, but no launch leads there that keeps "
        f"off known hazards, closed zones, dry ground and, beyond {in_words(LANE_M, 'length')} of lane, water too "
        "thin to float the boat"
    )


def require_entry(name: str, ramp: Any, entry: Any | None, idling: Any, launch_m: float) -> None:
    """Refuse a ramp from which the boat finds no water it can use.

    Raises
    ------
    NoSafeWay
        With how far away that water begins.
    """
    if entry is not None:
        return
    raise NoSafeWay(
        f"The ramp {name} {why_no_launch(ramp, idling, launch_m)}. Choose another ramp, a smaller clearance, or "
        "--launch if the lane is known to be deep enough."
    )
