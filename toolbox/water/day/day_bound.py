"""How good a day can be at most: a bound that no plan exceeds, however long is searched.

In the bound stops may be visited again, but not at once, and each visit has its price; prices are moved until as few as
possible are visited twice (Lagrangean relaxation with walks free of cycles of two, as Righini and Salani 2009 and
others bound this problem). Of walks that leave a stop in the same stretch of time only the best worth and, beside it,
the earliest time is kept: that can only raise the bound.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from ...compiled import compiled
from .day_search import MOST_STOPS, exact_day
from .day_task import FAR, merit

if TYPE_CHECKING:
    from .day_moves import Routes
    from .day_task import DayTask

Floats = NDArray[np.float64]

_FINEST: Final = 400  # stretches of time; more make the bound tighter and slower
_COARSEST: Final = 100
_STEPS_A_ROUND: Final = 4_000_000
_STEPS: Final = 60_000_000  # walks extended, in all rounds together
_NONE: Final = -1e18
_MOST_ROUNDS: Final = 120
_LEAST_ROUNDS: Final = 12


@compiled
def _best_walk(
    prize: Any, offers: Any, starts: Any, places: Any, travel: Any, fuel: Any, fuel_price: Any, limits: Any,
    stretch: Any, count: Any,
) -> Any:  # fmt: skip
    """Find the walk of greatest prize: its prize, visits of each stop, fuel, and walks extended."""
    stops = len(places)
    begin, over, no_way = limits[0], limits[1], limits[2]
    first = np.full(
        (count, stops), _NONE
    )  # prize of the best walk that has just left a stop, by stretch of time
    second = np.full((count, stops), _NONE)  # of the best that came from another stop than that one
    came = np.full((count, stops, 2), -1)
    parent = np.full((count, stops, 2), -1)
    soonest = np.full((count, stops), over + 1)
    passed = np.full(stops, _NONE)  # what a walk that leaves no sooner than then has to exceed
    passed_at = np.full(stops, over + 1)
    visits, burnt = np.zeros(stops), 0.0
    best, best_at, best_stop, best_slot, steps = 0.0, -1, -1, 0, 0
    for b in range(-1, count):
        for i in range(stops if b >= 0 else 1):
            here = places[i] if b >= 0 else 0
            clock = soonest[b, i] if b >= 0 else begin
            if b >= 0:
                if first[b, i] == _NONE or (first[b, i] <= passed[i] and passed_at[i] <= clock):
                    continue
                if second[b, i] > passed[i]:
                    passed[i], passed_at[i] = second[b, i], clock
                home = travel[here, 1]
                if home < no_way and clock + home <= over:
                    told = first[b, i] - fuel_price * fuel[here, 1]
                    if told > best:
                        best, best_at, best_stop, best_slot = told, b, i, 0
            steps += stops
            for j in range(stops):
                step = travel[here, places[j]]
                if (b >= 0 and j == i) or step >= no_way:
                    continue
                slot = 1 if b >= 0 and came[b, i, 0] == j else 0
                had = 0.0 if b < 0 else (second[b, i] if slot else first[b, i])
                if had == _NONE:
                    continue
                had -= fuel_price * fuel[here, places[j]]
                for o in range(starts[j], starts[j + 1]):
                    left = max(clock + step, offers[o, 1]) + offers[o, 0]
                    if left > offers[o, 2] or left + travel[places[j], 1] > over:
                        continue
                    told = had + prize[o]
                    # A stretch later at least, that walks are extended in order; the time stays what it is.
                    at = max(b + 1, (left - begin) // stretch)
                    if at >= count:
                        return -_NONE, visits, burnt, steps
                    source = (b * stops + i) * 2 + slot if b >= 0 else -1
                    origin = i if b >= 0 else -2
                    soonest[at, j] = min(soonest[at, j], left)
                    if told > first[at, j]:
                        if came[at, j, 0] != origin:
                            second[at, j], came[at, j, 1] = first[at, j], came[at, j, 0]
                            parent[at, j, 1] = parent[at, j, 0]
                        first[at, j], came[at, j, 0], parent[at, j, 0] = told, origin, source
                    elif told > second[at, j] and came[at, j, 0] != origin:
                        second[at, j], came[at, j, 1], parent[at, j, 1] = told, origin, source
    at, stop, slot = best_at, best_stop, best_slot
    after = 1
    while at >= 0:
        visits[stop] += 1
        burnt += fuel[places[stop], after]
        after = places[stop]
        source = parent[at, stop, slot]
        if source < 0:
            burnt += fuel[0, after]
            break
        at, stop, slot = source // 2 // stops, source // 2 % stops, source % 2
    return best, visits, burnt, steps


def most_worth(task: DayTask, routes: Routes) -> int:
    """Find a worth that no plan of a day exceeds.

    Parameters
    ----------
    task, routes
        The day, and the best plan known of it: what is found is never below its worth. Where that keeps all that must
        be, plans that don't are left out of account.

    Returns
    -------
    int
        In steps of value, as the worth of offers.
    """
    known = merit(task, routes)[1]
    able = np.flatnonzero(task.closes_s - task.stay_s >= np.maximum(task.opens_s, task.begin_s))
    if not len(able) or task.over_s <= task.begin_s:
        return known
    able = able[np.argsort(task.stop[able], kind="stable")]
    places, starts = np.unique(task.stop[able], return_index=True)
    if task.days == 1 and len(places) <= MOST_STOPS:
        exact = exact_day(task, routes[0])
        if exact is not None:
            return merit(task, [exact])[1]
    starts = np.append(starts, len(able))
    stop_of = np.repeat(np.arange(len(places)), np.diff(starts))
    worth = task.worth[able].astype(np.float64)
    offers = np.stack([task.stay_s[able], task.opens_s[able], task.closes_s[able]], axis=1)
    limits = np.array([task.begin_s, task.over_s, FAR], dtype=np.int64)
    stretches = min(max(_STEPS_A_ROUND // len(places) ** 2, _COARSEST), _FINEST)
    stretch = max(1, -(-(task.over_s - task.begin_s) // stretches))
    count = stretches + len(places) + 1  # walks of very short ways need more than the day has
    fuelled = task.fuel_limit_ml < FAR

    ways = task.fuel_ml[np.ix_(places, places)]
    scale = max(float(ways[ways < FAR].mean()), 1.0) if (ways < FAR).any() else 1.0  # fuel of a usual way
    price, fuel_price = np.zeros(len(places)), 0.0
    best = float(np.maximum.reduceat(worth, starts[:-1]).sum())
    pace, stale, done, rounds = 1.5, 0, 0, 0
    while rounds < _LEAST_ROUNDS or (rounds < _MOST_ROUNDS and done < _STEPS):
        told, visits, burnt, steps = _best_walk(
            worth - price[stop_of], offers, starts, places, task.travel_s, task.fuel_ml, fuel_price, limits,
            stretch, count,
        )  # fmt: skip
        rounds, done = rounds + 1, done + steps
        bound = task.days * (told + (fuel_price * task.fuel_limit_ml if fuelled else 0.0)) + float(
            price.sum()
        )
        stale = 0 if bound < best - 1e-3 * (best - known) else stale + 1
        best = min(best, bound)
        if best < known + 1:
            break
        if stale >= 5:
            pace, stale = pace / 2.0, 0
        slope = 1.0 - task.days * visits  # of the bound, by the price of each stop
        slope[(price <= 0.0) & (slope > 0.0)] = 0.0
        per_litre = task.days * (task.fuel_limit_ml - burnt) if fuelled else 0.0
        if fuel_price <= 0.0 and per_litre > 0.0:
            per_litre = 0.0
        size = float(slope @ slope) + (per_litre / scale) ** 2
        if size == 0.0:
            break
        move = pace * max(bound - known, 1.0) / size
        price = np.maximum(price - move * slope, 0.0)
        fuel_price = max(fuel_price - move * per_litre / scale**2, 0.0)
    return max(known, int(np.floor(best + 1e-6)))
