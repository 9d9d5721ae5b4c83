"""Whether the pieces of a run follow one another from its start over every hold to its end.

Part of the last check; shares nothing with the search for ways.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from .keep_out import TOLERANCE_M
from .violations import Violation

if TYPE_CHECKING:
    from collections.abc import Iterator

    import geopandas as gpd

    from ...arrays import Floats


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
