"""The best day where waves slow the boat: exact for few stops, searched for many, timed by the hours throughout."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from ..day.day_exact import MOST_STOPS
from ..day.day_search import WORK, best_day
from ..day.day_task import END, FAR, START, visited
from .hour_walks import hour_tables
from .hours_exact import exact_in_hours
from .hours_search import TURNS, search_in_hours

if TYPE_CHECKING:
    from ..day.day_moves import Routes
    from ..day.day_task import DayTask
    from ..day.kept_hours import KeptHours

_LOOKED_AT: Final = 40  # stops whose legs are worked out by the hour; the others are out of question by then
_GUESSED: Final = 24  # of them, those whose way from the start tells how much the waves slow the boat


def _open_stops(task: DayTask) -> list[int]:
    able = task.closes_s - task.stay_s >= np.maximum(task.opens_s, task.begin_s)
    return sorted({int(stop) for stop in task.stop[able]})


def slowed_anywhere(task: DayTask, kept: KeptHours, routes: Routes) -> bool:
    """Look whether waves make any leg of a plan longer; where they do not, calm water knows no better plan."""
    if kept.slowed is None:
        return False
    legs = sorted({leg for route in routes if route for leg in itertools.pairwise(task.along(route))})
    kept.learn(legs)
    return any(bool(_more(kept, one, other).any()) for one, other in legs)


def _more(kept: KeptHours, one: int, other: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    assert kept.slowed is not None
    return kept.slowed.more_s(int(kept.places[one]), int(kept.places[other]))


def _looked_at(
    task: DayTask, kept: KeptHours, routes: Routes, begin: Routes, seed: int, work: int
) -> list[int]:
    """Choose the stops that a plan in waves can be made of: those of the best plans, and of most worth."""
    stops = _open_stops(task)
    if len(stops) <= _LOOKED_AT:
        return stops
    met = visited(task, routes) | visited(task, begin)
    kept.learn(
        (START, stop) for stop in (sorted(met) or stops)[:_GUESSED] if task.travel_s[START, stop] < FAR
    )
    shares = [
        1.0 + float(np.median(_more(kept, START, stop))) / max(int(task.travel_s[START, stop]), 1)
        for stop in (sorted(met) or stops)[:_GUESSED]
        if task.travel_s[START, stop] < FAR
    ]
    slower = float(np.median(shares)) if shares else 1.0
    inflated = np.where(task.travel_s < FAR, np.ceil(task.travel_s * slower), FAR).astype(np.int64)
    met |= visited(task, best_day(replace(task, travel_s=inflated), seed=seed, work=max(work // 16, 1)))
    worth = {stop: int(task.worth[task.offers_of[stop]].max()) for stop in stops}
    stay = {stop: int(task.stay_s[task.offers_of[stop]].min()) for stop in stops}
    near = np.array([START, END, *sorted(met)])
    rest = sorted(
        (stop for stop in stops if stop not in met),
        key=lambda stop: (-worth[stop] / (stay[stop] + int(task.travel_s[near, stop].min()) + 60.0), stop),
    )
    must = [stop for stop in stops if stop in task.must]
    return sorted({*sorted(met), *must, *rest[: max(_LOOKED_AT - len(met), 0)]})


def slowed_day(
    task: DayTask, kept: KeptHours, routes: Routes, begin: Routes, *, seed: int = 0, work: int = WORK
) -> Routes:
    """Find the best day in waves.

    Parameters
    ----------
    task, kept
        The day and what its hours allow.
    routes
        The best day in calm water: most of its stops will be good ones.
    begin
        Routes that keep the hours.
    seed, work
        Of the search.

    Returns
    -------
    list
        Routes; one day of up to `MOST_STOPS` stops is the best there is.
    """
    above_all = int(task.worth.sum()) + 1
    legs = [leg for route in begin if route for leg in itertools.pairwise(task.along(route))]
    tables = hour_tables(task, kept, _looked_at(task, kept, routes, begin, seed, work), above_all, legs)
    if not len(tables.offers):
        return begin
    row_of = {int(offer): row for row, offer in enumerate(tables.number)}
    rows = [[row_of[offer] for offer in route] for route in begin]
    few = task.days == 1 and len(tables.nodes) - 2 <= MOST_STOPS
    turns = max(TURNS * work // WORK, TURNS // 8)
    found = search_in_hours(tables, rows, seed=seed, turns=turns // 8 if few else turns)
    if few:
        known = int(tables.offers[found[0], 4].sum()) if found[0] else 0
        exact = exact_in_hours(tables, known)
        found = [exact] if exact else found
    return [tuple(int(tables.number[row]) for row in route) for route in found]
