"""A day taken apart and put together again, many times: the search for large days, in machine-speed loops.

Ruin and recreate with adjacent stretches and blinks is from Christiaens and Vanden Berghe (2020, SISR); insertion in
constant time from Vansteenwegen et al. (2009), here with waiting counted in three ways in turn; a falling threshold of
acceptance as in simulated annealing (Gunawan, Lau, Lu 2015 use it for this problem).
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from ...compiled import compiled
from .day_books import (
    CLOSES,
    DETOUR,
    GONE,
    IDLE,
    NO_WAY,
    OPENS,
    PLACE,
    PUSH,
    STAY,
    WON,
    WORTH,
    best_place,
    copied,
    drawn,
    new_books,
    put_in,
    refresh,
)  # fmt: skip

HEAT: Final = 0
MOST: Final = 1
WEIGHT: Final = 2
LEAST: Final = 3
"""Columns of how to search: loss of worth followed at first, most stops taken out at once, worth of a second of travel,
seconds below which a cost counts as that."""

_BLINK: Final = 0.01  # share of places overlooked, as SISR does
_GREEDY: Final = 0.3  # share of turns that choose by merit again and again; the others go down a list
_LARGE: Final = 0.05  # share of turns that may take out any number of stops
_CLOSE_BY: Final = 0.8  # share of turns that look at offers near the gap only


@compiled
def _drop_marked(day: Any, marked: Any, offers: Any, taken: Any, travel: Any, fuel: Any, limits: Any) -> None:
    """Take out the stops marked, and put the times right."""
    route, length = day[0], day[1]
    for r in range(len(length)):
        put = 0
        for k in range(length[r]):
            o = route[r, k]
            if marked[offers[o, PLACE]]:
                taken[offers[o, PLACE]] = False
            else:
                route[r, put] = o
                put += 1
        if put < length[r]:
            length[r] = put
            refresh(r, day, offers, travel, fuel, limits)


@compiled
def _ruin(day: Any, marked: Any, offers: Any, near: Any, taken: Any, state: Any, most: Any) -> Any:
    """Mark stops to take out: a stretch of each route near some place, those nearest to it, or any."""
    route, length = day[0], day[1]
    marked[:] = False
    places = near.shape[0]
    total = 0
    for r in range(len(length)):
        total += length[r]
    if total == 0:
        return 0
    count = 1 + int(drawn(state) * min(most, total))
    if drawn(state) < _LARGE:
        count = 1 + int(drawn(state) * total)
    way = drawn(state)
    seed = offers[int(drawn(state) * len(offers)), PLACE]
    if way < 0.6:  # a stretch, where the route comes nearest
        routes = 1 + int(drawn(state) * min(len(length), 3))
        done = 0
        cut = np.zeros(len(length), dtype=np.bool_)
        for j in range(places):
            p = near[seed, j]
            if not taken[p] or marked[p]:
                continue
            r, at = -1, -1
            for q in range(len(length)):
                for k in range(length[q]):
                    if offers[route[q, k], PLACE] == p:
                        r, at = q, k
            if r < 0 or cut[r]:
                continue
            cut[r] = True
            size = min(count, length[r])
            first = at - int(drawn(state) * size)
            first = max(0, min(first, length[r] - size))
            kept_from, kept = size, 0
            if size > 2 and drawn(state) < 0.3:  # its middle stays
                kept = 1 + int(drawn(state) * (size - 2))
                kept_from = 1 + int(drawn(state) * (size - kept - 1))
            for k in range(size):
                if not (kept_from <= k < kept_from + kept):
                    marked[offers[route[r, first + k], PLACE]] = True
            done += 1
            if done >= routes:
                break
    elif way < 0.85:  # around a place
        for j in range(places):
            p = near[seed, j]
            if taken[p] and (drawn(state) < 0.8):
                marked[p] = True
                count -= 1
                if count == 0:
                    break
    else:
        for _ in range(count):
            pick = int(drawn(state) * total)
            for r in range(len(length)):
                if pick < length[r]:
                    marked[offers[route[r, pick], PLACE]] = True
                    break
                pick -= length[r]
        return 0
    return seed


@compiled
def _listed(
    day: Any, picked: Any, offers: Any, taken: Any, travel: Any, fuel: Any, limits: Any, state: Any, mode: Any
) -> Any:
    """Go down a list of offers and put each in at its best place; returns the work done."""
    length = day[1]
    work = 0
    for o in picked:
        if taken[offers[o, PLACE]]:
            continue
        into, at, least = -1, -1, limits[NO_WAY]
        for r in range(len(length)):
            work += length[r] + 3
            k, cost = best_place(o, r, day, offers, travel, fuel, limits, state, _BLINK, mode)
            if k >= 0 and cost < least:
                into, at, least = r, k, cost
        if into >= 0:
            put_in(o, into, at, day, offers, taken)
            refresh(into, day, offers, travel, fuel, limits)
    return work


@compiled
def _chosen(
    day: Any, order: Any, count: Any, keys: Any, offers: Any, taken: Any, travel: Any, fuel: Any, limits: Any,
    state: Any, mode: Any, tune: Any,
) -> Any:  # fmt: skip
    """Put in the offer of greatest merit by its cost, again and again; returns the work done."""
    length = day[1]
    work = 0
    with_stay = 1.0 if drawn(state) < 0.5 else 0.0
    squared = drawn(state) < 0.5
    while count:
        best, into, at, score = -1, -1, -1, -1.0
        put = 0
        for k in range(count):
            o = order[k]
            if taken[offers[o, PLACE]]:
                continue
            r_best, k_best, least = -1, -1, limits[NO_WAY]
            for r in range(len(length)):
                work += length[r] + 3
                p, cost = best_place(o, r, day, offers, travel, fuel, limits, state, 0.0, mode)
                if p >= 0 and cost < least:
                    r_best, k_best, least = r, p, cost
            if r_best < 0:
                continue  # what has no room now has none later: routes only grow
            order[put] = o
            put += 1
            merit = keys[o] / max(least + with_stay * offers[o, STAY] + tune[LEAST], 1.0)
            if squared:
                merit *= keys[o]
            if merit > score:
                best, into, at, score = o, r_best, k_best, merit
        count = put
        if best >= 0:
            put_in(best, into, at, day, offers, taken)
            refresh(into, day, offers, travel, fuel, limits)
    return work


@compiled
def _recreate(
    day: Any, near: Any, reach: Any, marked: Any, order: Any, keys: Any, offers: Any, starts: Any, taken: Any,
    travel: Any, fuel: Any, limits: Any, state: Any, tune: Any,
) -> Any:  # fmt: skip
    """Put in offers of the places nearest, and of those taken out, until none fits; returns the work done."""
    count = 0
    for j in range(len(near)):
        p = near[j]
        if taken[p] or (j >= reach and not marked[p]):
            continue
        for o in range(starts[p], starts[p + 1]):
            order[count] = o
            count += 1
    pick = drawn(state)
    mode = DETOUR if pick < 0.4 else (PUSH if pick < 0.7 else IDLE)
    if drawn(state) < _GREEDY:
        bend = drawn(state)
        for k in range(count):
            keys[order[k]] = offers[order[k], WORTH] * (1.0 + bend * (drawn(state) - 0.5))
        return _chosen(day, order, count, keys, offers, taken, travel, fuel, limits, state, mode, tune)
    how = drawn(state)
    for k in range(count):
        o = order[k]
        noise = drawn(state)
        if how < 0.3:
            keys[o] = -noise
        elif how < 0.65:
            keys[o] = -offers[o, WORTH] * (0.3 + noise)
        elif how < 0.85:
            keys[o] = -offers[o, WORTH] / (offers[o, STAY] + tune[LEAST]) * (0.3 + noise)
        else:
            keys[o] = (offers[o, CLOSES] - offers[o, OPENS]) * (0.7 + 0.3 * noise)
    picked = order[:count][np.argsort(keys[order[:count]], kind="mergesort")]
    return _listed(day, picked, offers, taken, travel, fuel, limits, state, mode)


@compiled
def searched(
    first: Any, first_length: Any, offers: Any, starts: Any, travel: Any, fuel: Any, limits: Any, near: Any,
    seed: Any, budget: Any, enough: Any, tune: Any, fall: Any,
) -> Any:  # fmt: skip
    """Take apart and put together under a falling heat, for so much work; the best day met.

    Parameters
    ----------
    first, first_length
        Routes to begin with (boats, room), and their lengths.
    offers, starts
        Table of offers in order of their places, and where those of each place begin.
    travel, fuel, limits
        Between places; and begin, end, fuel and what is no way.
    near
        Places by distance from each (n, n).
    seed, budget
        Of the draws; places in routes to be judged.
    enough
        Worth that cannot be exceeded: once it is met, only travel is improved, and not for long.
    tune, fall
        How to search; and a loss that is followed, in parts of the heat: one is drawn each turn.
    """
    boats, room = first.shape
    places = len(travel)
    state = np.array([np.uint64(88172645463325252) ^ (np.uint64(seed + 1) * np.uint64(11400714819323198485))])
    for _ in range(8):
        drawn(state)
    now, tried, best = new_books(boats, room), new_books(boats, room), new_books(boats, room)
    taken, before = np.zeros(places, dtype=np.bool_), np.zeros(places, dtype=np.bool_)
    marked = np.zeros(places, dtype=np.bool_)
    keys, order = np.zeros(len(offers)), np.zeros(len(offers), dtype=np.int64)
    now[0][:], now[1][:] = first, first_length
    for r in range(boats):
        refresh(r, now, offers, travel, fuel, limits)
        for k in range(now[1][r]):
            before[offers[now[0][r, k], PLACE]] = True
    copied(now, best)
    now_won, now_gone = now[6][:, WON].sum(), now[6][:, GONE].sum()
    best_won, best_gone = now_won, now_gone
    work, met_at = 0, 0
    while work < budget and not (best_won >= enough and work - met_at > budget // 20):
        left = 1.0 - work / budget
        heat = tune[HEAT] * (left * left * left + 0.01)
        copied(now, tried)
        taken[:] = before
        middle = _ruin(tried, marked, offers, near, taken, state, tune[MOST])
        reach = places
        if middle and drawn(state) < _CLOSE_BY:
            part = drawn(state)
            reach = 15 + int(part * part * places)
        _drop_marked(tried, marked, offers, taken, travel, fuel, limits)
        work += 20 + _recreate(
            tried,
            near[middle],
            reach,
            marked,
            order,
            keys,
            offers,
            starts,
            taken,
            travel,
            fuel,
            limits,
            state,
            tune,
        )
        won, gone = tried[6][:, WON].sum(), tried[6][:, GONE].sum()
        lost = (now_won - won) + tune[WEIGHT] * (gone - now_gone)
        if lost <= 0.0 or lost < heat * fall[int(drawn(state) * len(fall))]:
            copied(tried, now)
            before[:] = taken
            now_won, now_gone = won, gone
        if won > best_won or (won == best_won and gone < best_gone):
            met_at = work if won > best_won else met_at
            copied(tried, best)
            best_won, best_gone = won, gone
    return best[0], best[1], work
