"""Made days for tests and benchmarks, and a simulator that replays a plan without any code of the planner's."""

from __future__ import annotations

import itertools

import numpy as np

from castshed.toolbox.water.day.day_task import FAR, DayTask, whole_up


def made_day(count, seed, *, windows=True, hours=8, fuel=False, must=0, stays=1, days=1):
    """Stops strewn over a lake of 9 km, run at 13 m/s with half a minute to get on plane; half of them have a window."""
    rng = np.random.default_rng([seed, count])
    xy = rng.uniform(0.0, 9000.0, (count + 2, 2))
    if seed % 2:
        xy[1] = xy[0]
    apart = np.hypot(*(xy[:, None] - xy[None]).T)
    travel = whole_up(apart / 13.4 + 30.0 * (apart > 0), symmetric=True)
    burnt = whole_up(apart * 0.4, symmetric=True)
    stop = np.repeat(np.arange(2, count + 2), stays)
    stay = np.repeat(rng.integers(15, 31, count) * 60, stays)
    worth = np.repeat(rng.integers(100, 500, count), stays)
    if stays > 1:
        share = np.tile(np.linspace(1.0, 1.8, stays), count)
        stay, worth = (stay * share).astype(int), (worth * share**0.5).astype(int)
    opens, closes = np.zeros(len(stop), dtype=np.int64), np.full(len(stop), hours * 3600)
    if windows:
        some = np.repeat(rng.random(count) < 0.5, stays)
        first = np.repeat(rng.integers(0, max(hours - 2, 1), count) * 3600, stays)
        length = np.repeat(rng.integers(2, 4, count) * 3600, stays)
        opens[some], closes[some] = first[some], (first + length)[some]
    limit = int(1.6 * 9000 * 0.4 * max(3, hours / 2)) if fuel else FAR
    named = frozenset(int(k) for k in rng.choice(np.arange(2, count + 2), must, replace=False))
    return DayTask(travel, burnt, stop, stay, opens, closes, worth, named, 0, hours * 3600, limit, days)


def replayed(task, routes):
    """Replay routes minute by minute of the books: a list of broken rules, and what the day was worth."""
    broken, worth, seen = [], 0, []
    for route in routes:
        clock, place, fuel = float(task.begin_s), 0, 0.0
        for offer in route:
            stop = int(task.stop[offer])
            clock += float(task.travel_s[place, stop])
            fuel += float(task.fuel_ml[place, stop])
            clock = max(clock, float(task.opens_s[offer]))
            clock += float(task.stay_s[offer])
            if clock > task.closes_s[offer]:
                broken.append(
                    f"stop {stop} is left at {clock:.0f} s, its window closes at {task.closes_s[offer]}"
                )
            worth += int(task.worth[offer])
            seen.append(stop)
            place = stop
        if route:
            clock += float(task.travel_s[place, 1])
            fuel += float(task.fuel_ml[place, 1])
        if clock > task.over_s:
            broken.append(f"the day is over at {clock:.0f} s, {task.over_s} s is the latest")
        if fuel > task.fuel_limit_ml:
            broken.append(f"{fuel:.0f} ml of fuel are used, {task.fuel_limit_ml} are there")
    broken += [f"stop {stop} is visited twice" for stop in {s for s in seen if seen.count(s) > 1}]
    return broken, worth


def enumerated(task):
    """Best of all sets and orders of offers: must stops, value, least travel; by trying each."""
    best = (0, 0, 0)
    count = len(task.stop)

    def go(route, place, clock, fuel, worth, gone):
        nonlocal best
        met = len(task.must & {int(task.stop[o]) for o in route})
        if not route or (
            clock + task.travel_s[place, 1] <= task.over_s
            and fuel + task.fuel_ml[place, 1] <= task.fuel_limit_ml
        ):
            home = int(task.travel_s[place, 1]) if route else 0
            best = max(best, (met, worth, -(gone + home)))
        for offer in range(count):
            stop = int(task.stop[offer])
            if any(int(task.stop[o]) == stop for o in route):
                continue
            step = int(task.travel_s[place, stop])
            over = max(clock + step, int(task.opens_s[offer])) + int(task.stay_s[offer])
            used = fuel + int(task.fuel_ml[place, stop])
            if over <= task.closes_s[offer] and over <= task.over_s and used <= task.fuel_limit_ml:
                go((*route, offer), stop, over, used, worth + int(task.worth[offer]), gone + step)

    go((), 0, task.begin_s, 0, 0, 0)
    return best


def pairs_of(routes):
    """Consecutive pairs of all routes."""
    return [pair for route in routes for pair in itertools.pairwise(route)]
