"""The best day where legs take longer by the hour, against every order of every set of stops."""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pytest

from castshed.toolbox.water.day.day_search import MOST_STOPS, best_day
from castshed.toolbox.water.day.day_task import FAR
from castshed.toolbox.water.day.kept_hours import kept_walk
from castshed.toolbox.water.hours import slowed_day
from castshed.toolbox.water.hours.hour_walks import hour_tables
from castshed.toolbox.water.hours.hours_search import exact_in_hours, search_in_hours
from castshed.toolbox.water.hours.kept_day import best_kept_day, kept_merit
from castshed.toolbox.water.hours.slowed_day import in_waves
from day_cases import made_day
from slowed_days import MadeLegs, kept_of


def _every_order(task, legs, shut):
    """Greatest value of all routes, each timed by its own reckoning: as early as can be, legs not in hours shut."""
    offers = [k for k in range(len(task.stop)) if task.closes_s[k] >= 0]
    best = 0

    def arrive(a, b, leave):
        while True:
            there = leave + int(task.travel_s[a, b]) + legs.longer_s(a, b, leave)
            if (a, b) in shut and there > shut[a, b][0] and leave < shut[a, b][1]:
                leave = shut[a, b][1]
                continue
            return there

    def onward(at, clock, met, fuel, worth):
        nonlocal best
        if task.travel_s[at, 1] < FAR or at == 0:
            burnt = fuel + (int(task.fuel_ml[at, 1]) if at else 0)
            if (at == 0 or arrive(at, 1, clock) <= task.over_s) and burnt <= task.fuel_limit_ml:
                best = max(best, worth)
        for k in offers:
            place = int(task.stop[k])
            if place in met or task.travel_s[at, place] >= FAR:
                continue
            begin = max(arrive(at, place, clock), int(task.opens_s[k]))
            over = begin + int(task.stay_s[k])
            if over <= task.closes_s[k] and over <= task.over_s:
                onward(
                    place,
                    over,
                    met | {place},
                    fuel + int(task.fuel_ml[at, place]),
                    worth + int(task.worth[k]),
                )

    onward(0, int(task.begin_s), frozenset(), 0, 0)
    return best


def _small(seed):
    rng = np.random.default_rng([seed, 9])
    count = int(rng.integers(3, 6))
    task = made_day(count, seed, hours=int(rng.integers(1, 4)), fuel=bool(rng.random() < 0.4))
    legs = MadeLegs(task.travel_s, seed)
    # Waits afloat are free in these days, so a boat may always stay where it is until a leg opens.
    shut = {}
    for a, b in itertools.permutations(range(count + 2), 2):
        if rng.random() < 0.15:
            begin = int(rng.integers(0, 6000))
            shut[a, b] = begin, begin + int(rng.integers(600, 5000))
    return task, legs, shut


@pytest.mark.parametrize("block", range(10))
def test_equal_to_enumeration_on_200_small_days(block):
    for seed in range(20 * block, 20 * block + 20):
        task, legs, shut = _small(seed)
        kept = kept_of(task, legs, shut=shut)
        kept.lies = {place: [(0.0, 1e9)] for place in range(len(task.travel_s))}
        routes = best_kept_day(task, kept, seed=seed)
        assert kept_walk(task, routes[0], kept)[0] is not None
        assert kept_merit(task, routes, kept)[1] == _every_order(task, legs, shut), seed


@pytest.mark.parametrize("seed", range(6))
def test_search_finds_what_is_proved_best_on_days_of_fourteen_stops(seed):
    task = made_day(MOST_STOPS, seed, hours=4.0)
    kept = kept_of(task, MadeLegs(task.travel_s, seed))
    tables = hour_tables(task, kept, range(2, MOST_STOPS + 2), int(task.worth.sum()) + 1)
    best = int(tables.offers[exact_in_hours(tables, 0), 4].sum())
    (found,) = search_in_hours(tables, [[]], seed=seed)
    assert int(tables.offers[found, 4].sum()) >= 0.99 * best
    assert kept_walk(task, tuple(int(tables.number[row]) for row in found), kept)[0] is not None


@pytest.mark.long
@pytest.mark.parametrize("seed", range(2))
def test_no_wave_no_change(seed):
    task = made_day(20, seed, hours=5.0)
    calm = MadeLegs(task.travel_s, seed, calm=True)
    assert best_kept_day(task, kept_of(task, calm), seed=seed) == best_day(task, seed=seed)


@pytest.mark.long
@pytest.mark.parametrize("days", [1, 2])
def test_many_stops_keep_the_slowed_hours_and_beat_the_calm_plan_mended(days):
    task = made_day(60, 3, hours=5.0, days=days, must=2)
    kept = kept_of(task, MadeLegs(task.travel_s, 3))
    routes = best_kept_day(task, kept, seed=1)
    assert all(kept_walk(task, route, kept)[0] is not None for route in routes)
    assert task.must <= {int(task.stop[offer]) for route in routes for offer in route}
    assert routes == best_kept_day(task, kept, seed=1)


class SteadyLegs(MadeLegs):
    """Legs that take longer by the same at all hours, there more than back."""

    def __init__(self, calm_s, seed):
        super().__init__(calm_s, seed)
        self.grid_s = np.zeros(1)
        self.share[:] = self.share[:, :, :1]


def _soonest_back(task, legs):
    """When the run that is soonest back is back, of all orders of all its stops; timed by its own reckoning."""

    def back(order):
        at, clock = 0, int(task.begin_s)
        for place in (*order, 1):
            clock += int(task.travel_s[at, place]) + legs.longer_s(at, place, clock)
            clock += 0 if place == 1 else int(task.stay_s[task.offers_of[place][0]])
            at = place
        return clock

    return min(back(order) for order in itertools.permutations(range(2, len(task.travel_s))))


@pytest.mark.parametrize("made", [MadeLegs, SteadyLegs])
@pytest.mark.parametrize("seed", range(8))
def test_run_of_few_stops_is_back_soonest_of_all_orders_without_a_search(made, seed, monkeypatch):
    def no_search(*_, **__):
        raise AssertionError(
            "a run of few stops needs no search by the hour, which takes a minute to compile"
        )

    monkeypatch.setattr(slowed_day, "hour_tables", no_search)
    task = _open_at_all_hours(made_day(3 + seed % 4, seed, hours=9.0))
    legs = made(task.travel_s, seed)
    found = in_waves(task, [0, *range(2, len(task.travel_s)), 1], kept_of(task, legs))
    assert found.times.over_s == _soonest_back(task, legs)
    assert sorted(found.places) == list(range(len(task.travel_s)))
    assert found.longer_s == tuple(
        legs.longer_s(a, b, at)
        for (a, b), at in zip(itertools.pairwise(found.places), found.times.leaves_s.tolist(), strict=True)
    )


def _open_at_all_hours(task):
    count = len(task.stop)
    return dataclasses.replace(
        task,
        opens_s=np.zeros(count, dtype=np.int64),
        closes_s=np.full(count, 10**6),
        over_s=10**6,
        fuel_limit_ml=FAR,
    )
