"""Day plans: against full enumeration, beside another routing library given the same time, above greedy, replayed."""

from __future__ import annotations

import statistics
import time

from castshed.toolbox.water.day.day_moves import fill
from castshed.toolbox.water.day.day_search import best_day
from castshed.toolbox.water.day.day_task import FAR, merit
from day_cases import enumerated, made_day, replayed

PEER = "ortools"
_WORTH = 1000


def _exact(seed, quick):
    """Share of small days, with windows, fuel, must stops and a choice of stays, that equal full enumeration."""
    count = 20 if quick else 200
    right = 0
    for k in range(count):
        task = made_day(
            3 + k % (4 if quick else 7), 1_000 * seed + k, hours=2 + k % 2, fuel=k % 3 == 0, must=k % 2,
            stays=2 if k % 5 == 0 and k % 7 < 3 else 1,
        )  # fmt: skip
        right += merit(task, best_day(task)) == enumerated(task)
    return {"exact_share": right / count, "exact_days": count}


def _peer(task, seconds):
    """Value the peer finds in so many seconds: optional visits with penalties, windows, one vehicle."""
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2

    places = [0, 1, *task.stop.tolist()]
    manager = pywrapcp.RoutingIndexManager(len(places), 1, [0], [1])
    routing = pywrapcp.RoutingModel(manager)
    stay = [0, 0, *task.stay_s.tolist()]
    travel = task.travel_s.tolist()
    fuel = task.fuel_ml.tolist()

    def takes(one, other):
        a, b = manager.IndexToNode(one), manager.IndexToNode(other)
        return min(travel[places[a]][places[b]], FAR) + stay[a]

    def costs(one, other):
        return travel[places[manager.IndexToNode(one)]][places[manager.IndexToNode(other)]]

    def burns(one, other):
        return fuel[places[manager.IndexToNode(one)]][places[manager.IndexToNode(other)]]

    clock, cost = routing.RegisterTransitCallback(takes), routing.RegisterTransitCallback(costs)
    routing.SetArcCostEvaluatorOfAllVehicles(cost)
    routing.AddDimension(clock, task.over_s, task.over_s, False, "time")
    time_of = routing.GetDimensionOrDie("time")
    if task.fuel_limit_ml < FAR:
        routing.AddDimension(routing.RegisterTransitCallback(burns), 0, int(task.fuel_limit_ml), True, "fuel")
    for offer in range(len(task.stop)):
        index = manager.NodeToIndex(offer + 2)
        time_of.CumulVar(index).SetRange(
            int(task.opens_s[offer]), int(task.closes_s[offer] - task.stay_s[offer])
        )
        routing.AddDisjunction([index], int(task.worth[offer]) * _WORTH)
    told = pywrapcp.DefaultRoutingSearchParameters()
    told.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PARALLEL_CHEAPEST_INSERTION
    told.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    told.time_limit.FromMilliseconds(int(1000 * seconds))
    found = routing.SolveWithParameters(told)
    if found is None:
        return 0
    at, route = routing.Start(0), []
    while not routing.IsEnd(at):
        node = manager.IndexToNode(at)
        route += [node - 2] if node > 1 else []
        at = found.Value(routing.NextVar(at))
    broken, worth = replayed(task, [tuple(route)])
    return 0 if broken else worth


def measure(seed: int, quick: bool) -> dict:
    """Measure all; see the functions above."""
    notes: list[str] = []
    result = _exact(seed, quick)
    best_day(made_day(30, seed), work=1)  # the first compiles what is compiled
    try:
        import ortools  # noqa: F401

        peer = True
    except ImportError:
        peer = False
        notes.append(f"{PEER} is not installed (extra bench)")
    wins, below, wrong, runs = 0, 0, 0, 0
    lost: list[float] = []
    times: dict[int, list[float]] = {30: [], 100: [], 300: []}
    each = 1 if quick else 10
    for count, took in times.items():
        for k in range(each):
            task = made_day(count, 77 * seed + k, fuel=k % 3 == 2, must=0)
            start = time.perf_counter()
            routes = best_day(task, seed=0)
            took.append(time.perf_counter() - start)
            own = merit(task, routes)[1]
            runs += 1
            below += own < merit(task, fill(task, [()]))[1]
            broken, worth = replayed(task, routes)
            wrong += len(broken) + (worth != own)
            if peer:
                theirs = _peer(task, took[-1])
                wins += own >= theirs
                lost.append(100.0 * (own - theirs) / max(own, theirs, 1))
    task = made_day(300, 77 * seed)
    result |= {
        "at_least_ortools_share": wins / runs if peer else None,
        "value_over_ortools_pct": statistics.mean(lost) if lost else None,
        "below_greedy": below,
        "violations": wrong,
        "seconds_300": statistics.median(times[300]),
        "seconds": {str(count): statistics.median(took) for count, took in times.items()},
        "same_twice": best_day(task, seed=3) == best_day(task, seed=3),
        "note": "; ".join(notes),
    }
    return result
