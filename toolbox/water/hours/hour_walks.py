"""A day in whole numbers for loops at machine speed: legs with their times by the hour, and when they are open.

The rules are those of `kept_hours.kept_walk`, which has the last word on every route found with them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

from ...compiled import compiled
from ..day.day_search import MOST_STOPS
from ..day.day_task import END, START

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from ..day.day_task import DayTask
    from ..day.kept_hours import KeptHours

    Ints = NDArray[np.int64]
    Floats = NDArray[np.float64]

NEVER: Final = -(10**15)
EVER: Final = 10**15
_SOONER: Final = 1e-6
_NEAREST: Final = 12  # stops a boat goes on to from one of many


class HourTables(NamedTuple):
    """What the loops are given.

    Attributes
    ----------
    nodes
        Places of the task that the loops number anew: start, end, then stops.
    number
        Offer of the task of each row of `offers`.
    offers
        Rows: node, stay, opens, closes, worth, from and until when the boat may lie there (m, 7), by node.
    starts
        First offer of each node, and their count.
    travel, early, fuel
        Between nodes: time in calm water, how much sooner a boat may be there, fuel.
    first, spans
        When legs are open: spans (k, 2) of leg ``one * count + other`` from ``first`` on.
    more, grid
        How much longer waves make a leg by the moment it is left at, and the first moment and step of that table.
    limits
        Begin and end of the day, fuel, and what stands for no way.
    """

    nodes: Ints
    number: Ints
    offers: Ints
    starts: Ints
    travel: Ints
    early: Ints
    fuel: Ints
    first: Ints
    spans: Ints
    more: Floats
    grid: Floats
    limits: Ints


def _whole(number: float, up: bool) -> int:
    if not np.isfinite(number):
        return EVER if number > 0 else NEVER
    return int(np.ceil(number - 1e-9)) if up else int(np.floor(number + 1e-9))


def _worth_a_look(travel: Ints, far: int) -> NDArray[np.bool_]:
    """Tell which legs of a day may be run: of many stops only those to the nearest, from the start and to the end."""
    count = len(travel)
    leads = travel < far
    leads[:, START] = leads[END, :] = False
    np.fill_diagonal(leads, False)
    if count - 2 > MOST_STOPS:
        near = np.zeros_like(leads)
        inner = travel[2:, 2:] + np.where(np.eye(count - 2, dtype=bool), far, 0)
        nearest = np.argsort(inner, axis=1, kind="stable")[:, :_NEAREST]
        near[np.arange(2, count)[:, None], nearest + 2] = True
        near[START, :] = near[:, END] = True
        leads &= near | near.T
    return leads


def hour_tables(
    task: DayTask,
    kept: KeptHours,
    stops: Sequence[int],
    above_all: int,
    legs: Iterable[tuple[int, int]] = (),
) -> HourTables:
    """Put a day of some stops into numbers; a must stop is worth `above_all` more than its own.

    Parameters
    ----------
    task, kept
        The day and its hours.
    stops
        Places of the task that may be stopped at.
    above_all
        More than all worth together.
    legs
        Pairs of places whose leg may be run however far it is: those of a plan to begin with.
    """
    from ..day.day_task import FAR

    able = np.flatnonzero(
        np.isin(task.stop, np.asarray(stops, dtype=np.int64))
        & (task.closes_s - task.stay_s >= np.maximum(task.opens_s, task.begin_s))
    )
    able = able[np.argsort(task.stop[able], kind="stable")]
    met = np.unique(task.stop[able])
    nodes = np.concatenate([[START, END], met]).astype(np.int64)
    node = np.searchsorted(met, task.stop[able]) + 2
    lies = [
        kept.lies_at(int(task.stop[one]), float(task.opens_s[one]), float(task.closes_s[one])) for one in able
    ]
    worth = task.worth[able] + np.where(np.isin(task.stop[able], sorted(task.must)), above_all, 0)
    offers = np.empty((len(able), 7), dtype=np.int64)
    for column, values in enumerate(
        (node, task.stay_s[able], task.opens_s[able], task.closes_s[able], worth)
    ):
        offers[:, column] = values
    offers[:, 5] = [_whole(begin, True) for begin, _ in lies]
    offers[:, 6] = [_whole(end, False) for _, end in lies]
    between = np.ix_(nodes, nodes)
    travel, count = task.travel_s[between], len(nodes)
    grid = np.zeros(1) if kept.slowed is None else kept.slowed.grid_s
    early = np.zeros((count, count), dtype=np.int64)
    more = np.zeros((count, count, len(grid)))
    first, spans = [0], []
    leads = _worth_a_look(travel, FAR)
    at = {int(place): k for k, place in enumerate(nodes)}
    for one, other in legs:
        if one in at and other in at and one != other:
            leads[at[one], at[other]] |= travel[at[one], at[other]] < FAR
    kept.learn((int(nodes[a]), int(nodes[b])) for a, b in zip(*np.nonzero(leads), strict=True))
    travel = np.where(leads | np.eye(count, dtype=bool), travel, FAR)
    for a in range(count):
        for b in range(count):
            if leads[a, b]:
                one, other = int(nodes[a]), int(nodes[b])
                own = kept.leg_open(one, other)
                spans += [(_whole(begin, True), _whole(end, False)) for begin, end in own]
                early[a, b] = kept.early_s(one, other, int(travel[a, b]))
                if kept.slowed is not None:
                    more[a, b] = kept.slowed.more_s(int(kept.places[one]), int(kept.places[other]))
            first.append(len(spans))
    return HourTables(
        nodes,
        able,
        offers,
        np.searchsorted(node, np.arange(count + 1)).astype(np.int64),
        travel,
        early,
        task.fuel_ml[between],
        np.array(first, dtype=np.int64),
        np.array(spans, dtype=np.int64).reshape(-1, 2),
        more,
        np.array([grid[0], grid[1] - grid[0] if len(grid) > 1 else 1.0]),
        np.array([task.begin_s, task.over_s, task.fuel_limit_ml, FAR], dtype=np.int64),
    )


@compiled
def longer(a: Any, b: Any, leave: Any, more: Any, grid: Any) -> Any:
    """Whole seconds that waves add to a leg left at a moment."""
    last = more.shape[2] - 1
    if last == 0:
        return int(np.ceil(more[a, b, 0] - _SOONER))
    at = (leave - grid[0]) / grid[1]
    if at <= 0.0:
        return int(np.ceil(more[a, b, 0] - _SOONER))
    if at >= last:
        return int(np.ceil(more[a, b, last] - _SOONER))
    k = int(at)
    return int(np.ceil(more[a, b, k] + (more[a, b, k + 1] - more[a, b, k]) * (at - k) - _SOONER))


@compiled
def leaves_at(
    a: Any, b: Any, clock: Any, until: Any, there: Any, by: Any, travel: Any, first: Any, spans: Any, more: Any,
    grid: Any,
) -> Any:  # fmt: skip
    """Earliest moment to leave at so that the leg is open all along, or `NEVER`."""
    takes = travel[a, b]
    leg = a * len(travel) + b
    for s in range(first[leg], first[leg + 1]):
        at = max(clock, spans[s, 0], there - takes)
        over = min(spans[s, 1], by)
        if at + takes <= over and at + takes + longer(a, b, at, more, grid) <= over:
            return at if at <= until else NEVER
    return NEVER


@compiled
def stops_next(
    a: Any, o: Any, clock: Any, until: Any, offers: Any, travel: Any, early: Any, first: Any, spans: Any, more: Any,
    grid: Any, limits: Any,
) -> Any:  # fmt: skip
    """Moment the boat is free again when it goes on to an offer, or `NEVER`; and when it leaves for it."""
    b = offers[o, 0]
    if travel[a, b] >= limits[3]:
        return NEVER, NEVER
    left = leaves_at(
        a, b, clock, until, offers[o, 5] + early[a, b], offers[o, 3] - offers[o, 1], travel, first, spans, more, grid
    )  # fmt: skip
    if left == NEVER:
        return NEVER, NEVER
    begins = max(left + travel[a, b] + longer(a, b, left, more, grid), offers[o, 2])
    if begins + offers[o, 1] > offers[o, 3]:
        return NEVER, NEVER
    return begins + offers[o, 1], left


@compiled
def home_at(
    a: Any, clock: Any, until: Any, travel: Any, first: Any, spans: Any, more: Any, grid: Any, limits: Any
) -> Any:
    """Moment the boat is back where the day ends, or `NEVER`; and when it leaves for it."""
    if travel[a, 1] >= limits[3]:
        return NEVER, NEVER
    left = leaves_at(a, 1, clock, until, NEVER, limits[1], travel, first, spans, more, grid)
    if left == NEVER:
        return NEVER, NEVER
    return left + travel[a, 1] + longer(a, 1, left, more, grid), left
