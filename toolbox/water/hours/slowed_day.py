"""The best day where waves slow the boat, timed by the hours throughout; and the order that is soonest back."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from ...numbers import numbers_of
from ..day.day_search import MOST_STOPS, WORK, best_day
from ..day.day_task import END, EVER, FAR, START, visited
from ..day.kept_hours import KeptHours, kept_walk, longer_legs
from ..runs.tours import exact_order
from ..verdicts.wave_speeds import SOONER
from ..wind.lake_winds import stretches
from .hour_walks import hour_tables
from .hours_search import TURNS, exact_in_hours, search_in_hours

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from geopandas import GeoDataFrame

    from ...arrays import Floats, Ints
    from ..day.day_moves import Routes
    from ..day.day_task import DayHours, DayTask, Route
    from ..day.kept_hours import KeptTimes
    from ..runs.run_frames import Clock

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


@dataclass(frozen=True, eq=False)
class Waved:
    """A run in waves.

    Attributes
    ----------
    places
        Of the task, in order, start and end included.
    times
        Of the run from the beginning on, nobody waiting.
    stay_s
        At each stop.
    longer_s
        What waves add to each leg.
    """

    places: list[int]
    times: KeptTimes
    stay_s: list[int]
    longer_s: tuple[int, ...]

    def clocks(self, hours: DayHours) -> tuple[list[Clock], list[Clock]]:
        """Tell arrivals and departures at each place."""
        arrive: list[Clock] = [
            None,
            *(hours.after(at) for at in self.times.begins_s),
            hours.after(self.times.over_s),
        ]
        leave: list[Clock] = [*(hours.after(at) for at in self.times.leaves_s), None]
        return arrive, leave


def _soonest_back(task: DayTask, places: Sequence[int], kept: KeptHours) -> Route:
    """Find the order of a few stops that is back soonest, nobody waiting.

    A leg whose waves are not worked out yet counts as in calm water, and so as less than it takes: an order that is
    best by that and meets worked-out legs only is best of all. Few legs have to be worked out until one is.
    """
    assert kept.slowed is not None
    grid = kept.slowed.grid_s
    stay = np.array([0, *(int(task.stay_s[task.offers_of[place][0]]) for place in places[1:-1]), 0])
    cost = task.travel_s[np.ix_(places, places)] + stay[None, :]
    later: dict[tuple[int, int], Callable[[Ints], Ints]] = {}
    looked_at: set[tuple[int, int]] = set()
    while True:
        order = exact_order(cost, later, int(task.begin_s)).tolist()
        new = [leg for leg in itertools.pairwise(order) if leg not in looked_at]
        if not new:
            return tuple(int(task.offers_of[places[k]][0]) for k in order[1:-1])
        looked_at.update(new)
        kept.learn((places[one], places[other]) for one, other in new)
        for one, other in new:
            more = _more(kept, places[one], places[other])
            if len(grid) == 1:
                cost[one, other] += int(np.ceil(more[0] - SOONER))
            elif more.any():
                later[one, other] = partial(_added, grid=grid, more=more)


def _added(leave_s: Ints, grid: Floats, more: Floats) -> Ints:
    found: Ints = np.ceil(np.interp(leave_s, grid, more) - SOONER).astype(np.int64)
    return found


def in_waves(task: DayTask, places: Sequence[int], kept: KeptHours) -> Waved | None:
    """Order the stops of a run so that it is back soonest in the waves of the hours it is run in.

    Parameters
    ----------
    task
        Its stops, open at all hours.
    places
        The run in the order that is shortest in calm water, start and end included.
    kept
        Knows the waves.

    Returns
    -------
    Waved or None
        None where waves slow none of its legs.
    """
    if kept.slowed is None or len(places) < 3:
        return None
    stops = list(places[1:-1])
    others = [int(place) for place in task.offers_of if place not in set(stops)]
    only = replace(task.without(others), must=frozenset(stops))
    free = KeptHours(EVER, EVER, None, kept.places, kept.line_of, {}, None, kept.slowed)
    shortest: Route = tuple(int(only.offers_of[place][0]) for place in stops)
    free.learn(itertools.pairwise(places))
    known, _ = kept_walk(only, shortest, free)
    if known is None or not any(_more(free, one, other).any() for one, other in itertools.pairwise(places)):
        return None
    best = shortest
    if len(stops) <= MOST_STOPS:
        found = _soonest_back(only, places, free)
    else:
        (found,) = slowed_day(only, free, [shortest], [shortest])
    if len(found) == len(stops) and (told := kept_walk(only, found, free)[0]) is not None:
        best, known = (found, told) if told.over_s < known.over_s else (best, known)
    order = only.along(best)
    stay = [int(only.stay_s[offer]) for offer in best]
    begins = np.asarray(known.begins_s)
    leaves = [int(task.begin_s), *(int(at) + own for at, own in zip(begins, stay, strict=True))]
    return Waved(
        order,
        known._replace(leaves_s=np.array(leaves, dtype=np.int64)),
        stay,
        tuple(longer_legs(free, order, leaves)),
    )


def in_their_hours(stops: GeoDataFrame, exposure: GeoDataFrame | None) -> GeoDataFrame:
    """Give stops the greatest wind and waves of the hours at which the boat is there.

    Parameters
    ----------
    stops
        Layer ``stops``; one without clock times, and one in whose hours nothing is told, is left with no figures.
    exposure
        Layer with a row for each spot and hour; None: the stops stay as they are.
    """
    if exposure is None or exposure.empty or not (stops["arrive"] != "").any():
        return stops
    made = stops.copy()
    start = pd.Timestamp(0, tz="UTC")
    at = pd.to_datetime(exposure["time"], utc=True, format="ISO8601")
    seconds = (at - start).dt.total_seconds().to_numpy(dtype=float)
    figures = {
        name: numbers_of(exposure[name], name).to_numpy(dtype=float) for name in ("wind_mps", "wave_m")
    }
    spots = exposure["spot_id"].astype(str).to_numpy()
    last = len(made) - 1
    for row in range(len(made)):
        spot, arrive, leave = (str(made[name].iloc[row]) for name in ("spot_id", "arrive", "leave"))
        own = np.flatnonzero(spots == spot)
        if not arrive or not len(own) or row in (0, last):
            continue
        own = own[np.argsort(seconds[own], kind="stable")]
        times, first = np.unique(seconds[own], return_index=True)
        begin = (pd.Timestamp(arrive) - start).total_seconds()
        end = max((pd.Timestamp(leave) - start).total_seconds(), begin) if leave else begin
        stands = [
            own[first[k]]
            for k, (a, b) in enumerate(stretches(times))
            if (a < end and b > begin) or a <= begin < b
        ]
        for name, values in figures.items():
            known = [values[one] for one in stands if np.isfinite(values[one])]
            made.loc[made.index[row], name] = max(known) if known else np.nan
    return made
