"""The best day: exact for few stops; for many, taken apart and put together again under a falling heat."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from ..runs.tours import tour
from .day_exact import MOST_STOPS, exact_day
from .day_moves import fill, untangled
from .day_ruin import searched
from .day_task import FAR, merit, timed

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from .day_moves import Routes
    from .day_task import DayTask, Route

Ints = NDArray[np.int64]

WORK: Final = 250_000_000
"""Places in routes that are judged while a day is searched; a few seconds of one core."""

_FEW: Final = 4
_TINY: Final = 6  # stops of which every order is soon gone through
_SHORT: Final = 300_000
_MOST_OUT: Final = 10  # stops taken out at once
_HEAT: Final = 1.0  # loss followed at first, in stops of usual worth
_TRAVEL: Final = 10.0  # a whole day of travel counts as so many stops of usual worth
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


def ruined(task: DayTask, routes: Sequence[Route], *, seed: int, work: int) -> Routes:
    """Search a day by taking it apart and putting it together again.

    Parameters
    ----------
    task, routes
        The day, and routes to begin with.
    seed, work
        Of the draws; and how many places in routes are judged: no clock, so that every machine finds the same.
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
        np.array([_HEAT * usual, _MOST_OUT, _TRAVEL * usual / hours, max(1.0, hours / 1000.0)]), _FALL,
    )  # fmt: skip
    return [
        tuple(int(number[row]) for row in route[:count]) for route, count in zip(found, lengths, strict=True)
    ]


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
    begin = [()] * task.days if over else fill(task, [()] * task.days)
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
    found = ruined(task, begin, seed=seed, work=work)
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
