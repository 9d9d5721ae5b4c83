"""The best day whose hours are kept on every leg as well: searches told which legs are shut, and stretches of the day.

A search knows windows of stops; which legs are shut is asked only of the legs it wants. Where one is, the search is
told so and asked again, for the whole day and for the stretches before and after what shut it: home before the gale,
or out when it is over. What comes back is timed by the hours themselves.
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from ..day.day_moves import insertions
from ..day.day_search import WORK, best_day
from ..day.day_task import END, FAR, START, visited
from ..day.kept_hours import kept_walk
from .slowed_day import slowed_anywhere, slowed_day

if TYPE_CHECKING:
    from ..day.day_moves import Routes
    from ..day.day_task import DayTask, Route
    from ..day.kept_hours import KeptHours

_SEARCHES: Final = 12
_FEWER: Final = 4
_MANY_STOPS: Final = 60
_AGAIN: Final = 3
_TRIED: Final = 12


def kept_merit(task: DayTask, routes: Routes, kept: KeptHours) -> tuple[int, int, int]:
    """Rank routes that are kept: must stops, value, least travel; greater is better."""
    worth = travel = 0
    for route in routes:
        found, _ = kept_walk(task, route, kept)
        assert found is not None
        worth, travel = worth + found.worth, travel + found.travel_s
    return len(task.must & visited(task, routes)), worth, -travel


def _fuel_ml(task: DayTask, route: Route) -> int:
    return sum(int(task.fuel_ml[a, b]) for a, b in itertools.pairwise(task.along(route))) if route else 0


def mended(task: DayTask, route: Route, kept: KeptHours) -> Route:
    """Leave out stops until the hours of the rest are kept, those of least worth first."""
    while route:
        found, at = kept_walk(task, route, kept)
        if found is not None:
            return route
        shorter = [route[:k] + route[k + 1 :] for k in range(len(route))]
        able = [one for one in shorter if kept_walk(task, one, kept)[0] is not None]
        if able:
            return max(able, key=lambda one: int(task.worth[list(one)].sum()))
        gone = min(at, len(route) - 1)
        route = route[:gone] + route[gone + 1 :]
    return route


def _filled(task: DayTask, routes: Routes, kept: KeptHours) -> Routes:
    """Put in further stops where the hours allow it, the most worth for its time first."""
    made = list(routes)
    while True:
        taken = visited(task, made)
        left = np.flatnonzero(~np.isin(task.stop, sorted(taken)) & (task.closes_s >= 0))
        best: tuple[float, int, Route] | None = None
        for day, route in enumerate(made):
            if not len(left):
                break
            _, cost = insertions(replace(task, over_s=max(task.over_s, 0)), route, left)
            score = np.where(cost < FAR, task.worth[left] / (task.stay_s[left] + cost + 60.0), -1.0)
            score = np.where(np.isin(task.stop[left], sorted(task.must)) & (score >= 0), score + 1e9, score)
            for k in np.argsort(-score, kind="stable")[:_TRIED]:
                if score[k] < 0 or (best is not None and score[k] <= best[0]):
                    break
                for at in range(len(route) + 1):
                    tried = (*route[:at], int(left[k]), *route[at:])
                    if _fuel_ml(task, tried) > task.fuel_limit_ml:
                        continue
                    if kept_walk(task, tried, kept)[0] is not None:
                        best = float(score[k]), day, tried
                        break
        if best is None:
            return made
        made[best[1]] = best[2]


def _shut_legs(task: DayTask, routes: Routes, kept: KeptHours) -> list[tuple[int, int]]:
    """List the first leg of each route that can't be kept."""
    found: list[tuple[int, int]] = []
    for route in routes:
        times, k = kept_walk(task, route, kept)
        if times is None:
            places = task.along(route)
            found.append((places[k], places[k + 1]))
    return found


def _best_in_waves(
    task: DayTask, kept: KeptHours, routes: Routes, start: Routes | None, *, seed: int, work: int
) -> Routes:
    """Search a day in waves from the best of what is known: the calm day and the plan before, both mended."""
    met = sorted(visited(task, routes))
    kept.learn(leg for leg in itertools.product([START, *met], [*met, END]) if task.travel_s[leg] < FAR)
    known = [[mended(task, route, kept) for route in routes]]
    if start is not None:
        sound = [tuple(offer for offer in route if task.closes_s[offer] >= 0) for route in start]
        known.append([mended(task, route, kept) for route in sound])
    begin = max(known, key=lambda one: kept_merit(task, one, kept))
    found = slowed_day(task, kept, routes, begin, seed=seed, work=work)
    found = [mended(task, route, kept) for route in found]
    return max(begin, found, key=lambda one: kept_merit(task, one, kept))


def best_kept_day(
    task: DayTask,
    kept: KeptHours,
    *,
    seed: int = 0,
    work: int = WORK,
    start: Routes | None = None,
    progress: Any = None,
) -> Routes:
    """Find the best day whose stops, legs, waits and way home lie in hours that allow them.

    Parameters
    ----------
    task
        The day; windows of its stops hold already what the hours say of them.
    kept
        What the hours allow.
    seed
        Of the search.
    work, start
        How long is searched at first, and a plan to begin with.
    progress
        Told of the first search.

    Returns
    -------
    list
        Routes that are kept; where the search's own routes are, just those.
    """
    routes = best_day(task, seed=seed, work=work, start=start, progress=progress)
    if slowed_anywhere(task, kept, routes):
        return _best_in_waves(task, kept, routes, start, seed=seed, work=work)
    if not _shut_legs(task, routes, kept):
        return routes
    best: Routes = [()] * task.days
    best_merit = kept_merit(task, best, kept)

    def consider(found: Routes) -> None:
        nonlocal best, best_merit
        filled = _filled(task, [mended(task, route, kept) for route in found], kept)
        told = kept_merit(task, filled, kept)
        if told > best_merit:
            best, best_merit = filled, told

    left = _SEARCHES if len(task.offers_of) <= _MANY_STOPS else _FEWER
    queue = [(int(task.begin_s), int(task.over_s))]
    met = set(queue)
    while queue and left > 0:
        begin, over = queue.pop(0)
        part = replace(task, begin_s=begin, over_s=over)
        found = routes if (begin, over) == (task.begin_s, task.over_s) else None
        for again in range(_AGAIN):
            if found is None:
                found, left = best_day(part, seed=seed), left - 1
            bad = _shut_legs(part, found, kept)
            consider(found)
            if not bad or left <= 0:
                break
            for one, other in bad:
                opens = kept.leg_open(one, other)
                # Stretches of the day in which this leg is open all along, each a shorter day of its own.
                for a, b in opens:
                    block = int(max(begin, np.ceil(max(a, -1e9)))), int(min(over, np.floor(min(b, 1e9))))
                    if block[1] > block[0] and block not in met:
                        met.add(block)
                        queue.append(block)
            if again + 1 < _AGAIN:
                travel = part.travel_s.copy()
                for one, other in bad:
                    travel[one, other] = travel[other, one] = FAR
                part = replace(part, travel_s=travel)
                found = None
    return best
