"""A day improved step by step: stops put in where they cost least, stretches moved elsewhere and turned round."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ...compiled import compiled
from .day_task import END, FAR, Route, visited

if TYPE_CHECKING:
    from collections.abc import Callable

    from .day_task import DayTask

Ints = NDArray[np.int64]
Routes = list[Route]


def _slack(task: DayTask, route: Route) -> tuple[Ints, Ints, Ints, Ints, int]:
    """Places along a route with both ends, when each is left at the earliest, reached at the latest, and fuel left."""
    count = len(route)
    places = np.array(task.along(route))
    leaves = np.empty(count + 1, dtype=np.int64)
    leaves[0] = task.begin_s
    fuel = 0
    for k, offer in enumerate(route):
        reached = leaves[k] + task.travel_s[places[k], places[k + 1]]
        leaves[k + 1] = max(reached, task.opens_s[offer]) + task.stay_s[offer]
        fuel += int(task.fuel_ml[places[k], places[k + 1]])
    fuel += int(task.fuel_ml[places[-2], END]) if count else 0
    latest = np.empty(count + 2, dtype=np.int64)  # latest time each place may be reached
    latest[-1] = task.over_s
    for k in range(count - 1, -1, -1):
        offer = route[k]
        onward = latest[k + 2] - task.travel_s[places[k + 1], places[k + 2]]
        latest[k + 1] = min(onward, task.closes_s[offer]) - task.stay_s[offer]
    return places, leaves, latest, np.arange(count + 1), task.fuel_limit_ml - fuel


def insertions(task: DayTask, route: Route, offers: Ints) -> tuple[Ints, Ints]:
    """Find the cheapest place for each of some offers in a route.

    Returns
    -------
    position, cost_s
        Where each would go, and the travel it adds; `FAR` where it fits nowhere.
    """
    places, leaves, latest, _, fuel_left = _slack(task, route)
    before, after = places[:-1], places[1:]
    stop = task.stop[offers][:, None]
    there, onward = task.travel_s[before, stop], task.travel_s[stop, after]
    begins = np.maximum(leaves[None] + there, task.opens_s[offers][:, None])
    over = begins + task.stay_s[offers][:, None]
    now_s = task.travel_s[before, after] if route else np.zeros(1, dtype=np.int64)
    now_ml = task.fuel_ml[before, after] if route else np.zeros(1, dtype=np.int64)
    extra_ml = task.fuel_ml[before, stop] + task.fuel_ml[stop, after] - now_ml
    fits = (
        (over <= task.closes_s[offers][:, None])
        & (over + onward <= latest[None, 1:])
        & (extra_ml <= fuel_left)
        & (there < FAR)
        & (onward < FAR)
    )
    cost = np.where(fits, there + onward - now_s, FAR)
    position = np.argmin(cost, axis=1)
    return position, cost[np.arange(len(offers)), position]


def _open_offers(task: DayTask, routes: Routes) -> Ints:
    """List the offers of stops no route visits yet."""
    taken = visited(task, routes)
    return np.flatnonzero(~np.isin(task.stop, sorted(taken)) & (task.closes_s >= 0))


def fill(
    task: DayTask, routes: Routes, rank: Callable[[Ints, Ints], NDArray[np.float64]] | None = None
) -> Routes:
    """Put in offers, one at a time, until nothing more fits.

    Parameters
    ----------
    task, routes
        The day, and routes to start from.
    rank
        Merit of putting in offers (numbers) at a cost in seconds; the greatest goes first. By default must stops, then
        worth per second of stay and detour.
    """
    made = list(routes)
    must = np.isin(task.stop, sorted(task.must))
    left = _open_offers(task, made)
    while len(left):
        found = [insertions(task, route, left) for route in made]
        cost = np.stack([one[1] for one in found])
        day = np.argmin(cost, axis=0)
        least = cost[day, np.arange(len(left))]
        able = np.flatnonzero(least < FAR)
        if not len(able):
            break
        offers = left[able]
        if rank is None:
            score = task.worth[offers] / (task.stay_s[offers] + least[able] + 60.0)
        else:
            score = rank(offers, least[able])
        score = np.where(must[offers], score + 1e9, score)
        pick = int(able[np.argmax(score)])
        where = int(day[pick])
        at = int(found[where][0][pick])
        made[where] = (*made[where][:at], int(left[pick]), *made[where][at:])
        # What has no room now has none later: routes only grow.
        left = left[(least < FAR) & (task.stop[left] != task.stop[left[pick]])]
    return made


@compiled
def _gone(
    route: Any, count: int, stop: Any, stay: Any, opens: Any, closes: Any, travel: Any, fuel: Any, limits: Any
) -> int:
    """Travel of a route, or -1 where it misses a window, the end of the day or the fuel; as `timed` judges it."""
    at, clock, gone, burnt = 0, limits[0], 0, 0
    for k in range(count):
        offer = route[k]
        place = stop[offer]
        step = travel[at, place]
        clock = max(clock + step, opens[offer]) + stay[offer]
        if clock > closes[offer] or step >= limits[3]:
            return -1
        gone += step
        burnt += fuel[at, place]
        at = place
    if count:
        step = travel[at, 1]
        if step >= limits[3]:
            return -1
        clock, gone, burnt = clock + step, gone + step, burnt + fuel[at, 1]
    return -1 if clock > limits[1] or burnt > limits[2] else gone


@compiled
def _untangle(
    route: Any, stop: Any, stay: Any, opens: Any, closes: Any, travel: Any, fuel: Any, limits: Any
) -> Any:
    """Move stretches of up to four offers elsewhere, either way round, while that shortens the route."""
    count = len(route)
    best, tried = route.copy(), route.copy()
    now = _gone(best, count, stop, stay, opens, closes, travel, fuel, limits)
    gained = now >= 0
    while gained:
        gained = False
        for i in range(count):
            for size in range(1, min(4, count - i) + 1):
                for at in range(count - size + 1):
                    for turned in range(2 if size > 1 else 1):
                        put = 0
                        for k in range(count - size + 1):
                            if k == at:
                                for m in range(size):
                                    tried[put] = best[i + size - 1 - m] if turned else best[i + m]
                                    put += 1
                            if k < count - size:
                                tried[put] = best[k] if k < i else best[k + size]
                                put += 1
                        found = _gone(tried, count, stop, stay, opens, closes, travel, fuel, limits)
                        if 0 <= found < now:
                            for k in range(count):  # not [:], which takes numba seconds more to compile
                                best[k] = tried[k]
                            now = found
                            gained = True
    return best


def untangled(task: DayTask, route: Route) -> Route:
    """Shorten a route by moving stretches elsewhere and turning them round, as long as it stays in time."""
    limits = np.array([task.begin_s, task.over_s, task.fuel_limit_ml, FAR], dtype=np.int64)
    found = _untangle(
        np.array(route, dtype=np.int64), task.stop, task.stay_s, task.opens_s, task.closes_s,
        task.travel_s, task.fuel_ml, limits,
    )  # fmt: skip
    return tuple(int(offer) for offer in found)
