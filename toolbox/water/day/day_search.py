"""The best day: exact for few stops; for many, taken apart and put together again under a falling heat.

The best day of all, for few stops: every set and order that can still be best is kept (dynamic programming).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from ...compiled import compiled
from ..runs.tours import tour
from .day_moves import fill, untangled
from .day_ruin import searched
from .day_task import FAR, Route, merit, timed

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from .day_moves import Routes
    from .day_task import DayTask

Ints = NDArray[np.int64]

MOST_STOPS: Final = 14
_MOST_WAYS: Final = 1_000_000  # onward at once, for memory; beyond it the day is searched as a large one

# Columns of a way so far: 0 stops met as bits, 1 the last, 2 clock, 3 fuel, 4 worth, 5 travel, 6 the way it goes on
# from, 7 its last offer. Of offers: 0 stay, 1 opens, 2 closes, 3 worth. Of limits: 0 end, 1 fuel, 2 no way.


@compiled
def _more_at_most(met: Any, left_s: Any, most: Any, rate: Any, by_rate: Any) -> Any:
    """Worth that the stops not yet met can add in some time at most: the best by worth a second, the last in part."""
    more = 0.0
    for s in by_rate:
        if met >> s & 1:
            continue
        takes = most[s] / rate[s]
        if takes >= left_s:
            return more + left_s * rate[s]
        more += most[s]
        left_s -= takes
    return more


@compiled
def _onward(
    ways: Any, base: Any, offers: Any, starts: Any, places: Any, travel: Any, fuel: Any, limits: Any, known: Any,
    most: Any, rate: Any, by_rate: Any, made: Any,
) -> Any:  # fmt: skip
    """Write every way that is one offer longer and can still be best; returns how many, or -1 for want of room."""
    count = 0
    for w in range(len(ways)):
        here = 0 if ways[w, 1] < 0 else places[ways[w, 1]]
        for s in range(len(places)):
            step = travel[here, places[s]]
            if ways[w, 0] >> s & 1 or step >= limits[2]:
                continue
            burnt = ways[w, 3] + fuel[here, places[s]]
            if burnt + fuel[places[s], 1] > limits[1]:
                continue
            met = ways[w, 0] | (1 << s)
            for o in range(starts[s], starts[s + 1]):
                left = max(ways[w, 2] + step, offers[o, 1]) + offers[o, 0]
                spare = limits[0] - left - travel[places[s], 1]
                if left > offers[o, 2] or spare < 0:
                    continue
                won = ways[w, 4] + offers[o, 3]
                if won + _more_at_most(met, float(limits[0] - left), most, rate, by_rate) + 1e-6 < known:
                    continue
                if count == len(made):
                    return -1
                made[count, 0], made[count, 1], made[count, 2], made[count, 3] = met, s, left, burnt
                made[count, 4], made[count, 5], made[count, 6], made[count, 7] = (
                    won,
                    ways[w, 5] + step,
                    base + w,
                    o,
                )
                count += 1
    return count


@compiled
def _unbeaten(ways: Any) -> Any:
    """Tell which ways no other of the same stops and end beats in all things alike; they are sorted by clock."""
    keep = np.zeros(len(ways), dtype=np.bool_)
    first = 0
    for w in range(len(ways)):
        if ways[w, 0] != ways[first, 0] or ways[w, 1] != ways[first, 1]:
            first = w
        keep[w] = True
        for v in range(first, w):
            if keep[v] and ways[v, 3] <= ways[w, 3] and ways[v, 4] >= ways[w, 4] and ways[v, 5] <= ways[w, 5]:
                keep[w] = False
                break
    return keep


def exact_day(task: DayTask, known: Route = ()) -> Route | None:
    """Find the best route of one day.

    Parameters
    ----------
    task
        A day with few stops on offer, `MOST_STOPS` at the most.
    known
        A good route; the better it is, the sooner others are given up.

    Returns
    -------
    tuple or None
        Offers in order: most must stops, then most value, then least travel; empty where nothing fits. None where more
        ways would have to be kept than there is room for.
    """
    able = np.flatnonzero(
        (task.closes_s >= 0) & (task.closes_s - task.stay_s >= np.maximum(task.opens_s, task.begin_s))
    )
    able = able[np.argsort(task.stop[able], kind="stable")]
    if not len(able):
        return ()
    places, first = np.unique(task.stop[able], return_index=True)
    starts = np.append(first, len(able))
    above_all = int(task.worth.sum()) + 1  # a must stop outweighs all else
    worth = task.worth[able] + np.where(np.isin(task.stop[able], sorted(task.must)), above_all, 0)
    offers = np.stack([task.stay_s[able], task.opens_s[able], task.closes_s[able], worth], axis=1)
    limits = np.array([task.over_s, task.fuel_limit_ml, FAR], dtype=np.int64)
    # A visit takes its stay and the shortest way there, so a stop gives worth at this rate at most.
    ways_in = np.where(task.travel_s.T[places] >= FAR, FAR, task.travel_s.T[places])
    ways_in[np.arange(len(places)), places] = FAR
    takes = np.maximum(task.stay_s[able] + np.repeat(ways_in.min(axis=1), np.diff(starts)), 1)
    most = np.maximum(np.maximum.reduceat(worth, first), 1e-9).astype(np.float64)
    rate = np.maximum(np.maximum.reduceat(worth / takes, first), 1e-12)
    by_rate = np.argsort(-rate, kind="stable")
    met, value, travel = merit(task, [known])
    best_known = met * above_all + value

    best, best_at = (best_known, travel), -1
    layers: list[Ints] = [np.array([[0, -1, task.begin_s, 0, 0, 0, -1, -1]], dtype=np.int64)]
    base, room = 0, np.empty((_MOST_WAYS, 8), dtype=np.int64)
    while len(layers[-1]):
        count = _onward(
            layers[-1], base, offers, starts, places, task.travel_s, task.fuel_ml, limits, best[0], most, rate,
            by_rate, room,
        )  # fmt: skip
        if count < 0:
            return None
        base += len(layers[-1])
        ways = room[:count]
        ways = ways[np.lexsort((ways[:, 5], -ways[:, 4], ways[:, 3], ways[:, 2], ways[:, 1], ways[:, 0]))]
        ways = ways[_unbeaten(ways)] if count else ways
        layers.append(ways)
        if count:
            home = ways[:, 5] + task.travel_s[places[ways[:, 1]], 1]
            order = np.lexsort((home, -ways[:, 4]))
            told = (int(ways[order[0], 4]), -int(home[order[0]]))
            if told > best:
                best, best_at = told, base + int(order[0])
    if best_at < 0:
        return known
    every = np.concatenate(layers)
    route: list[int] = []
    while every[best_at, 7] >= 0:
        route.append(int(able[every[best_at, 7]]))
        best_at = int(every[best_at, 6])
    found = tuple(reversed(route))
    assert timed(task, found) is not None
    return found


WORK: Final = 250_000_000
"""Places in routes that are judged while a day is searched; a few seconds of one core."""

_FEW: Final = 4
_TINY: Final = 6  # stops of which every order is soon gone through
_SHORT: Final = 300_000
_MOST_OUT: Final = 10  # stops taken out at once
_HEAT: Final = 1.0  # loss followed at first, in stops of usual worth
_TRAVEL: Final = 10.0  # a whole day of travel counts as so many stops of usual worth
_BEGINNINGS: Final = 16
_MANY: Final = 10_000_000  # work below which one beginning is all there is time for
_BEGINNINGS_SHARE: Final = 0.5  # of the work
_FOLLOWED: Final = 4  # beginnings searched further, each other one is given up
_FOLLOWED_SHARE: Final = 0.25
_AGREE: Final = (
    0.5  # where so many beginnings end in the best worth met, it is searched no further from others
)
_COOLER: Final = 0.3  # heat of a search that goes on from what is good
_STEPS: Final = 1024
# -ln of numbers spread over 0 to 1: as often as annealing follows a loss. Rounded, to be the same on every machine.
_FALL: Final = np.array([round(-math.log((k + 0.5) / _STEPS), 6) for k in range(_STEPS)])


def _table(task: DayTask) -> tuple[Ints, Ints]:
    """Offers that can be taken at all, in order of their places, by number and as rows; must stops outweigh all."""
    able = np.flatnonzero(task.closes_s - task.stay_s >= np.maximum(task.opens_s, task.begin_s))
    number = able[np.argsort(task.stop[able], kind="stable")]
    above_all = int(task.worth.sum()) + 1
    worth = task.worth + np.where(np.isin(task.stop, sorted(task.must)), above_all, 0)
    columns = (task.stop, task.stay_s, task.opens_s, task.closes_s, worth)
    return number, np.stack([column[number] for column in columns], axis=1).astype(np.int64)


def ruined(task: DayTask, routes: Sequence[Route], *, seed: int, work: int, heat: float = _HEAT) -> Routes:
    """Search a day by taking it apart and putting it together again.

    Parameters
    ----------
    task, routes
        The day, and routes to begin with.
    seed, work
        Of the draws; and how many places in routes are judged: no clock, so that every machine finds the same.
    heat
        Loss followed at first, in stops of usual worth.
    """
    number, offers = _table(task)
    if not len(number) or task.over_s <= task.begin_s:
        return [()] * task.days
    row_of = {int(offer): row for row, offer in enumerate(number)}
    places = len(task.travel_s)
    first = np.zeros((task.days, len(task.offers_of)), dtype=np.int64)
    length = np.zeros(task.days, dtype=np.int64)
    for day, route in enumerate(routes):
        length[day] = len(route)
        first[day, : len(route)] = [row_of[offer] for offer in route]
    usual = float(np.mean(task.worth[number])) or 1.0
    hours = task.over_s - task.begin_s
    limits = np.array([task.begin_s, task.over_s, task.fuel_limit_ml, FAR], dtype=np.int64)
    starts = np.searchsorted(offers[:, 0], np.arange(places + 1))
    found, lengths, _ = searched(
        first, length, offers, starts, task.travel_s, task.fuel_ml, limits,
        np.argsort(task.travel_s, axis=1, kind="stable"), seed, work, _all_worth(offers),
        np.array([heat * usual, _MOST_OUT, _TRAVEL * usual / hours, max(1.0, hours / 1000.0)]), _FALL,
    )  # fmt: skip
    return [
        tuple(int(number[row]) for row in route[:count]) for route, count in zip(found, lengths, strict=True)
    ]


def _tilted(task: DayTask, rng: np.random.Generator) -> DayTask:
    """Make stops round one of them worth more, or less, so that a search goes elsewhere; worth is counted 64 times."""
    stops = np.unique(task.stop[task.closes_s >= 0])
    away = task.travel_s[int(rng.choice(stops))].astype(np.float64)
    reach = max(float(np.median(away[stops])), 1.0) * rng.uniform(0.4, 1.1)
    more = rng.uniform(0.5, 3.0) if rng.random() < 0.5 else -rng.uniform(0.2, 0.7)
    # No exponential: quotients are the same to the last bit on every machine.
    share = 1.0 + more / (1.0 + (away / reach) ** 2 * (away / reach) ** 2)
    worth = np.maximum(np.rint(64.0 * task.worth * share[task.stop]), 1.0).astype(np.int64)
    return replace(task, worth=worth)


def searched_from_many(task: DayTask, routes: Routes, *, seed: int, work: int) -> Routes:
    """Search a day from several beginnings, most of the work going to what came out best.

    Parameters
    ----------
    task, routes
        The day, and routes to begin with.
    seed, work
        As for `ruined`.

    Notes
    -----
    A search soon settles on which parts of a lake it goes to, and no heat that ends in a good day leads it elsewhere.
    So each beginning but the first is searched for a lake on which one part is worth more or less than it is, and then
    for the lake as it is.
    """

    def worth(one: Routes) -> tuple[int, int, int]:
        return merit(task, one)

    if work < _MANY:
        return ruined(task, routes, seed=seed, work=work)
    rng = np.random.default_rng([seed, len(task.stop)])
    each = int(work * _BEGINNINGS_SHARE / _BEGINNINGS)
    pool = [ruined(task, routes, seed=seed, work=each)]
    for k in range(1, _BEGINNINGS):
        tilted = _tilted(task, rng)
        begun = ruined(tilted, fill(tilted, [()] * task.days), seed=seed + k, work=each // 2)
        pool.append(ruined(task, begun, seed=seed + k, work=each // 2, heat=_COOLER))
    pool.sort(key=worth, reverse=True)
    met = list({worth(one): one for one in reversed(pool)}.values())[::-1]
    best = met[:1]
    if sum(worth(one)[:2] == worth(pool[0])[:2] for one in pool) < _AGREE * len(pool):
        for k, one in enumerate(met[:_FOLLOWED]):
            own = int(work * _FOLLOWED_SHARE / _FOLLOWED)
            best.append(ruined(task, one, seed=seed + 100 + k, work=own, heat=_COOLER))
    best = [max(best, key=worth)]
    left = int(work * (1.0 - _BEGINNINGS_SHARE - _FOLLOWED_SHARE))
    best.append(ruined(task, best[0], seed=seed + 200, work=left, heat=_COOLER))
    return max(best, key=worth)


def _all_worth(offers: Ints) -> int:
    """Worth of the best offer of every place together: no day is worth more."""
    best: dict[int, int] = {}
    for place, worth in zip(offers[:, 0].tolist(), offers[:, 4].tolist(), strict=True):
        best[place] = max(best.get(place, 0), worth)
    return sum(best.values())


def _toured(task: DayTask, route: Route) -> Route:
    """Order the offers of a route as a tour from start to end, where that is shorter and in time."""
    now = timed(task, route)
    if now is None or len(route) < _FEW:
        return route
    places = np.array(task.along(route))
    cost = task.travel_s[np.ix_(places, places)].astype(float)
    cost[cost >= FAR] = np.inf
    order = tour(cost, start=0, end=len(places) - 1)
    tried = tuple(route[int(k) - 1] for k in order[1:-1])
    found = timed(task, tried)
    return tried if found is not None and found.travel_s < now.travel_s else route


def best_day(
    task: DayTask,
    *,
    seed: int = 0,
    work: int = WORK,
    start: Routes | None = None,
    progress: Callable[[float], object] | None = None,
) -> Routes:
    """Choose and order the stops of a day.

    Parameters
    ----------
    task
        The day, or several that share the stops.
    seed
        Of the search. The same task and seed give the same day on every machine: work is limited by counts, never by a
        clock.
    work
        How long is searched: places in routes that are judged.
    start
        A plan to begin with; what of it does not fit is left out.
    progress
        Called with the share of the work just done; the shares add up to 1.

    Returns
    -------
    list of tuple
        A route for each day: most must stops, then most value, then least travel. One day of up to `MOST_STOPS` stops
        is the best there is; larger ones are the best that was found.
    """
    count = sum(1 for offers in task.offers_of.values() if (task.closes_s[offers] >= 0).any())
    over = task.over_s <= task.begin_s  # before it begins
    begin: Routes = [()] * task.days if over else fill(task, [()] * task.days)
    if over or (task.days == 1 and count <= MOST_STOPS):
        known = begin if over or count <= _TINY else ruined(task, begin, seed=seed, work=_SHORT)
        exact = () if over else exact_day(task, known[0])
        if exact is not None:
            if progress is not None:
                progress(1.0)
            return [()] * task.days if over else [exact]
    if start is not None:
        begin = max(
            begin, fill(task, [_sound(task, route) for route in start]), key=lambda one: merit(task, one)
        )
    found = searched_from_many(task, begin, seed=seed, work=work)
    if progress is not None:
        progress(0.9)
    best = fill(task, [_toured(task, untangled(task, route)) for route in found])
    if progress is not None:
        progress(0.1)
    return best


def _sound(task: DayTask, route: Route) -> Route:
    """Leave out what does not fit, least worth first."""
    kept = tuple(offer for offer in route if task.closes_s[offer] >= 0)
    while kept and timed(task, kept) is None:
        least = min(range(len(kept)), key=lambda k: (int(task.worth[kept[k]]), -k))
        kept = kept[:least] + kept[least + 1 :]
    return kept
