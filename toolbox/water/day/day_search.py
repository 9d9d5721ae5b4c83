"""The best day for many stops: a routing library searches, moves of our own go over what it finds."""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from ..runs.tours import tour
from .day_exact import MOST_STOPS, exact_day
from .day_moves import fill, improved, untangled
from .day_task import END, FAR, START, merit, timed

if TYPE_CHECKING:
    from collections.abc import Callable

    from .day_moves import Routes
    from .day_task import DayTask, Route

_ITERATIONS: Final = 1500
_ROUNDS: Final = 400
_FEW: Final = 4
_LEAST_TRAVEL: Final = (
    50_000  # of seconds or millilitres: no day travels more, so one step of value outweighs it
)


def _library_routes(task: DayTask, *, iterations: int, seed: int) -> Routes:
    """Let PyVRP choose and order; offers of one stop are a group of which at most one is taken.

    PyVRP takes whole numbers only, treats missing edges as very long, and returns a route even where none is feasible;
    so all edges are given, and the caller checks what comes back.
    """
    try:
        from pyvrp import Model, solve  # only large tasks pay for it
        from pyvrp.exceptions import PenaltyBoundWarning
    except ImportError:  # on a machine it has no wheel for; own moves alone find a good day too
        return [()] * task.days
    from pyvrp.stop import MaxIterations

    model = Model()
    count = len(task.travel_s)
    places = [model.add_location(0, 0) for _ in range(count)]
    fuelled = task.fuel_limit_ml < FAR
    model.add_vehicle_type(
        num_available=task.days,
        start_depot=model.add_depot(places[START]),
        end_depot=model.add_depot(places[END]),
        tw_early=task.begin_s,
        tw_late=task.over_s,
        # The one sum that can be limited is distance: fuel where it is short, else travel.
        max_distance=task.fuel_limit_ml if fuelled else FAR,
        unit_distance_cost=1,
    )
    offer_of: list[int] = []
    for stop, offers in sorted(task.offers_of.items()):
        able = [
            int(offer)
            for offer in offers
            if task.closes_s[offer] - task.stay_s[offer] >= max(task.opens_s[offer], 0)
        ]
        if not able:
            continue
        must = stop in task.must
        group = model.add_client_group(required=must) if len(able) > 1 else None
        for offer in able:
            model.add_client(
                places[stop],
                service_duration=int(task.stay_s[offer]),
                tw_early=int(max(task.opens_s[offer], 0)),
                tw_late=int(task.closes_s[offer] - task.stay_s[offer]),
                prize=int(task.worth[offer]) * _LEAST_TRAVEL,
                required=must and group is None,
                group=group,
            )
            offer_of.append(offer)
    # The model takes edges one by one, ninety thousand for 300 stops; the tables go in whole.
    limited = task.fuel_ml if fuelled else task.travel_s
    travel, apart = ([np.array(table, dtype=np.int64)] for table in (task.travel_s, limited))
    for tables in (travel, apart):
        np.fill_diagonal(tables[0], 0)
    given: Any = {"distance_matrices": apart, "duration_matrices": travel}
    data = model.data().replace(**given)
    with warnings.catch_warnings():
        warnings.simplefilter(
            "ignore", PenaltyBoundWarning
        )  # a day that is hard to fill; the caller checks what comes
        found = solve(data, MaxIterations(iterations), seed=seed, collect_stats=False, display=False)
    routes: Routes = []
    for route in found.best.routes():
        visits: list[Any] = [visit for visit in route if visit.is_client()]
        routes.append(tuple(offer_of[visit.idx] for visit in visits))
    return routes + [()] * (task.days - len(routes))


def _sound(task: DayTask, routes: Routes) -> Routes:
    """Keep of each route what fits; the library may hand back a route that breaks a rule."""
    made: Routes = []
    for route in routes:
        kept = route
        while kept and timed(task, kept) is None:
            # The offer of least worth goes first; what stays is filled up afterwards.
            least = min(range(len(kept)), key=lambda k: (int(task.worth[kept[k]]), -k))
            kept = kept[:least] + kept[least + 1 :]
        made.append(kept)
    return made


def _toured(task: DayTask, route: Route) -> Route:
    """Order the offers of a route as a tour from start to end, where that is shorter and in time."""
    now = timed(task, route)
    if now is None or len(route) < _FEW:
        return route
    places = np.array([START, *(int(task.stop[offer]) for offer in route), END])
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
    iterations: int = _ITERATIONS,
    rounds: int = _ROUNDS,
    progress: Callable[[float], object] | None = None,
) -> Routes:
    """Choose and order the stops of a day.

    Parameters
    ----------
    task
        The day.
    seed
        Of the search. The same task and seed give the same day on every machine: work is limited by counts, never by a
        clock.
    iterations, rounds
        How long the library and the own moves search.
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
    if over or (task.days == 1 and count <= MOST_STOPS):
        routes: Routes = [()] * task.days if over else [exact_day(task)]
        if progress is not None:
            progress(1.0)
        return routes
    greedy = fill(task, [()] * task.days)
    found = _sound(task, _library_routes(task, iterations=iterations, seed=seed))
    if progress is not None:
        progress(0.5)
    starts = [[untangled(task, route) for route in routes] for routes in (found, greedy)]
    best = max((fill(task, routes) for routes in starts), key=lambda routes: merit(task, routes))
    best = improved(task, best, rounds=rounds, seed=seed)
    best = fill(task, [_toured(task, route) for route in best])
    if progress is not None:
        progress(0.5)
    return best
