"""A day taken apart and put together again, many times: the search for large days, in machine-speed loops.

Ruin and recreate with adjacent stretches and blinks is from Christiaens and Vanden Berghe (2020, SISR); insertion in
constant time from Vansteenwegen et al. (2009), here with waiting counted in three ways in turn; a falling threshold of
acceptance as in simulated annealing (Gunawan, Lau, Lu 2015 use it for this problem).

All in one file, long as it is: the compiled code kept between runs is made anew when the file of a loop changes, not
when that of another it calls does. Arrays are copied place by place: for a slice put into a slice numba compiles words
for shapes that do not fit, which takes seconds.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from ...compiled import compiled

_PLACE: Final = 0
_STAY: Final = 1
_OPENS: Final = 2
_CLOSES: Final = 3
_WORTH: Final = 4
"""Columns of the table of offers (m, 5)."""

_GONE: Final = 0
_BURNT: Final = 1
_WON: Final = 2
"""Columns of the sums of a route: travel, fuel, worth."""

_BEGIN: Final = 0
_OVER: Final = 1
_FUEL: Final = 2
_NO_WAY: Final = 3
"""Columns of the limits of a day; a way as long as the last is none."""

_DETOUR: Final = 0
_PUSH: Final = 1
_IDLE: Final = 2
"""What a place in a route is judged by: travel added, time pushed on to what follows, travel and waiting added."""

_HEAT: Final = 0
_MOST: Final = 1
_WEIGHT: Final = 2
_LEAST: Final = 3
"""Columns of how to search: loss of worth followed at first, most stops taken out at once, worth of a second of travel,
seconds below which a cost counts as that."""

_BLINK: Final = 0.01  # share of places overlooked, as SISR does
_GREEDY: Final = 0.1  # share of turns that choose by merit again and again; the others go down a list
_LARGE: Final = 0.05  # share of turns that may take out any number of stops
_CLOSE_BY: Final = 0.97  # share of turns that look at offers near the gap only
_NEAREST: Final = 8  # stops looked at then, and up to half of all, few far more often than many


@compiled
def _drawn(state: Any) -> Any:
    """Draw a number from 0 to 1 (xorshift64*, Vigna 2016); whole-number steps, so the same on every machine."""
    x = state[0]
    x ^= x >> np.uint64(12)
    x ^= x << np.uint64(25)
    x ^= x >> np.uint64(27)
    state[0] = x
    return ((x * np.uint64(2685821657736338717)) >> np.uint64(11)) * (1.0 / 9007199254740992.0)


@compiled
def _new_books(boats: Any, room: Any) -> Any:
    """Make empty books: offers and length of each route, then by position place, begun, left, latest; and the sums."""
    return (
        np.zeros((boats, room), dtype=np.int64),
        np.zeros(boats, dtype=np.int64),
        np.zeros((boats, room + 2), dtype=np.int64),
        np.zeros((boats, room + 2), dtype=np.int64),
        np.zeros((boats, room + 2), dtype=np.int64),
        np.zeros((boats, room + 2), dtype=np.int64),
        np.zeros((boats, 3), dtype=np.int64),
    )


@compiled
def _copied(source: Any, target: Any) -> None:
    """Copy books into others."""
    for r in range(len(source[1])):
        count = source[1][r]
        target[1][r] = count
        for k in range(count):
            target[0][r, k] = source[0][r, k]
        for k in range(count + 2):
            target[2][r, k] = source[2][r, k]
            target[3][r, k] = source[3][r, k]
            target[4][r, k] = source[4][r, k]
            target[5][r, k] = source[5][r, k]
        for k in range(3):
            target[6][r, k] = source[6][r, k]


@compiled
def _refresh(r: Any, day: Any, offers: Any, travel: Any, fuel: Any, limits: Any) -> None:
    """Put right the times along a route: begun and left at the earliest, reached at the latest; and its sums."""
    route, length, places, begins, leaves, latest, sums = day
    count = length[r]
    gone, burnt, won, at = 0, 0, 0, 0
    clock = limits[_BEGIN]
    places[r, 0], begins[r, 0], leaves[r, 0] = 0, clock, clock
    for k in range(count):
        o = route[r, k]
        place = offers[o, _PLACE]
        gone += travel[at, place]
        burnt += fuel[at, place]
        won += offers[o, _WORTH]
        clock = max(clock + travel[at, place], offers[o, _OPENS])
        begins[r, k + 1] = clock
        clock += offers[o, _STAY]
        places[r, k + 1], leaves[r, k + 1] = place, clock
        at = place
    if count:
        gone += travel[at, 1]
        burnt += fuel[at, 1]
        clock += travel[at, 1]
    places[r, count + 1], begins[r, count + 1], latest[r, count + 1] = 1, clock, limits[_OVER]
    for k in range(count - 1, -1, -1):
        o = route[r, k]
        onward = latest[r, k + 2] - travel[places[r, k + 1], places[r, k + 2]]
        latest[r, k + 1] = min(onward, offers[o, _CLOSES]) - offers[o, _STAY]
    sums[r, _GONE], sums[r, _BURNT], sums[r, _WON] = gone, burnt, won


@compiled
def _best_place(
    o: Any,
    r: Any,
    day: Any,
    offers: Any,
    travel: Any,
    fuel: Any,
    limits: Any,
    state: Any,
    blink: Any,
    mode: Any,
) -> Any:
    """Where an offer costs least in a route: position and cost, or -1; each place is judged in constant time.

    What has to hold after it is kept as the latest time each place may be reached (Vansteenwegen et al. 2009).
    """
    route, length, places, begins, leaves, latest, sums = day  # as `_new_books` makes them
    place, stay, opens, closes = offers[o, _PLACE], offers[o, _STAY], offers[o, _OPENS], offers[o, _CLOSES]
    best_at, best_cost = -1, limits[_NO_WAY]
    spare = limits[_FUEL] - sums[r, _BURNT]
    count = length[r]
    soonest = opens + stay
    for k in range(count + 1):
        room = latest[r, k + 1]
        if room < soonest:
            continue
        left = leaves[r, k]
        if left + stay > closes:
            break
        a, b = places[r, k], places[r, k + 1]
        there, onward = travel[a, place], travel[place, b]
        over = max(left + there, opens) + stay
        if over > closes or over + onward > room or there >= limits[_NO_WAY] or onward >= limits[_NO_WAY]:
            continue
        more, cost = fuel[a, place] + fuel[place, b], there + onward
        if count:
            more -= fuel[a, b]
            cost -= travel[a, b]
        if more > spare:
            continue
        if mode == _PUSH:  # time pushed on to what follows, in place of the detour
            pushed = over + onward
            if k < count:
                pushed = max(pushed, offers[route[r, k], _OPENS])
            cost = pushed - begins[r, k + 1]
        elif mode == _IDLE:
            cost += over - left - there - stay  # waiting counts as travel
        if cost < best_cost and (blink == 0.0 or _drawn(state) >= blink):
            best_at, best_cost = k, cost
    return best_at, best_cost


@compiled
def _put_in(o: Any, r: Any, at: Any, day: Any, offers: Any, taken: Any) -> None:
    """Put an offer into a route; the times are put right by `_refresh`."""
    route, length = day[0], day[1]
    for k in range(length[r], at, -1):
        route[r, k] = route[r, k - 1]
    route[r, at] = o
    length[r] += 1
    taken[offers[o, _PLACE]] = True


@compiled
def _drop_marked(day: Any, marked: Any, offers: Any, taken: Any, travel: Any, fuel: Any, limits: Any) -> None:
    """Take out the stops marked, and put the times right."""
    route, length = day[0], day[1]
    for r in range(len(length)):
        put = 0
        for k in range(length[r]):
            o = route[r, k]
            if marked[offers[o, _PLACE]]:
                taken[offers[o, _PLACE]] = False
            else:
                route[r, put] = o
                put += 1
        if put < length[r]:
            length[r] = put
            _refresh(r, day, offers, travel, fuel, limits)


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
    count = 1 + int(_drawn(state) * min(most, total))
    if _drawn(state) < _LARGE:
        count = 1 + int(_drawn(state) * total)
    way = _drawn(state)
    seed = offers[int(_drawn(state) * len(offers)), _PLACE]
    if way < 0.6:  # a stretch, where the route comes nearest
        routes = 1 + int(_drawn(state) * min(len(length), 3))
        done = 0
        cut = np.zeros(len(length), dtype=np.bool_)
        for j in range(places):
            p = near[seed, j]
            if not taken[p] or marked[p]:
                continue
            r, at = -1, -1
            for q in range(len(length)):
                for k in range(length[q]):
                    if offers[route[q, k], _PLACE] == p:
                        r, at = q, k
            if r < 0 or cut[r]:
                continue
            cut[r] = True
            size = min(count, length[r])
            first = at - int(_drawn(state) * size)
            first = max(0, min(first, length[r] - size))
            kept_from, kept = size, 0
            if size > 2 and _drawn(state) < 0.3:  # its middle stays
                kept = 1 + int(_drawn(state) * (size - 2))
                kept_from = 1 + int(_drawn(state) * (size - kept - 1))
            for k in range(size):
                if not (kept_from <= k < kept_from + kept):
                    marked[offers[route[r, first + k], _PLACE]] = True
            done += 1
            if done >= routes:
                break
    elif way < 0.85:  # around a place
        for j in range(places):
            p = near[seed, j]
            if taken[p] and (_drawn(state) < 0.8):
                marked[p] = True
                count -= 1
                if count == 0:
                    break
    else:
        for _ in range(count):
            pick = int(_drawn(state) * total)
            for r in range(len(length)):
                if pick < length[r]:
                    marked[offers[route[r, pick], _PLACE]] = True
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
        if taken[offers[o, _PLACE]]:
            continue
        into, at, least = -1, -1, limits[_NO_WAY]
        for r in range(len(length)):
            work += length[r] + 3
            k, cost = _best_place(o, r, day, offers, travel, fuel, limits, state, _BLINK, mode)
            if k >= 0 and cost < least:
                into, at, least = r, k, cost
        if into >= 0:
            _put_in(o, into, at, day, offers, taken)
            _refresh(into, day, offers, travel, fuel, limits)
    return work


@compiled
def _chosen(
    day: Any, order: Any, count: Any, keys: Any, offers: Any, taken: Any, travel: Any, fuel: Any, limits: Any,
    state: Any, mode: Any, tune: Any,
) -> Any:  # fmt: skip
    """Put in the offer of greatest merit by its cost, again and again; returns the work done."""
    length = day[1]
    work = 0
    with_stay = 1.0 if _drawn(state) < 0.5 else 0.0
    squared = _drawn(state) < 0.5
    while count:
        best, into, at, score = -1, -1, -1, -1.0
        put = 0
        for k in range(count):
            o = order[k]
            if taken[offers[o, _PLACE]]:
                continue
            r_best, k_best, least = -1, -1, limits[_NO_WAY]
            for r in range(len(length)):
                work += length[r] + 3
                p, cost = _best_place(o, r, day, offers, travel, fuel, limits, state, 0.0, mode)
                if p >= 0 and cost < least:
                    r_best, k_best, least = r, p, cost
            if r_best < 0:
                continue  # what has no room now has none later: routes only grow
            order[put] = o
            put += 1
            merit = keys[o] / max(least + with_stay * offers[o, _STAY] + tune[_LEAST], 1.0)
            if squared:
                merit *= keys[o]
            if merit > score:
                best, into, at, score = o, r_best, k_best, merit
        count = put
        if best >= 0:
            _put_in(best, into, at, day, offers, taken)
            _refresh(into, day, offers, travel, fuel, limits)
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
    pick = _drawn(state)
    mode = _DETOUR if pick < 0.4 else (_PUSH if pick < 0.7 else _IDLE)
    if _drawn(state) < _GREEDY:
        bend = _drawn(state)
        for k in range(count):
            keys[order[k]] = offers[order[k], _WORTH] * (1.0 + bend * (_drawn(state) - 0.5))
        return _chosen(day, order, count, keys, offers, taken, travel, fuel, limits, state, mode, tune)
    how = _drawn(state)
    for k in range(count):
        o = order[k]
        noise = _drawn(state)
        if how < 0.3:
            keys[o] = -noise
        elif how < 0.65:
            keys[o] = -offers[o, _WORTH] * (0.3 + noise)
        elif how < 0.85:
            keys[o] = -offers[o, _WORTH] / (offers[o, _STAY] + tune[_LEAST]) * (0.3 + noise)
        else:
            keys[o] = (offers[o, _CLOSES] - offers[o, _OPENS]) * (0.7 + 0.3 * noise)
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
        How to search; and a loss that is followed, in parts of the heat: one is _drawn each turn.
    """
    boats, room = first.shape
    places = len(travel)
    state = np.array([np.uint64(88172645463325252) ^ (np.uint64(seed + 1) * np.uint64(11400714819323198485))])
    for _ in range(8):
        _drawn(state)
    now, tried, best = _new_books(boats, room), _new_books(boats, room), _new_books(boats, room)
    taken, before = np.zeros(places, dtype=np.bool_), np.zeros(places, dtype=np.bool_)
    marked = np.zeros(places, dtype=np.bool_)
    keys, order = np.zeros(len(offers)), np.zeros(len(offers), dtype=np.int64)
    for r in range(boats):
        now[1][r] = first_length[r]
        for k in range(room):
            now[0][r, k] = first[r, k]
        _refresh(r, now, offers, travel, fuel, limits)
        for k in range(now[1][r]):
            before[offers[now[0][r, k], _PLACE]] = True
    _copied(now, best)
    now_won, now_gone = now[6][:, _WON].sum(), now[6][:, _GONE].sum()
    best_won, best_gone = now_won, now_gone
    work, met_at = 0, 0
    while work < budget and not (best_won >= enough and work - met_at > budget // 20):
        left = 1.0 - work / budget
        heat = tune[_HEAT] * (left * left * left + 0.01)
        _copied(now, tried)
        for p in range(places):
            taken[p] = before[p]
        middle = _ruin(tried, marked, offers, near, taken, state, tune[_MOST])
        reach = places
        if middle and _drawn(state) < _CLOSE_BY:
            part = _drawn(state)
            reach = _NEAREST + int(0.5 * part * part * part * places)
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
        won, gone = tried[6][:, _WON].sum(), tried[6][:, _GONE].sum()
        lost = (now_won - won) + tune[_WEIGHT] * (gone - now_gone)
        if lost <= 0.0 or lost < heat * fall[int(_drawn(state) * len(fall))]:
            _copied(tried, now)
            for p in range(places):
                before[p] = taken[p]
            now_won, now_gone = won, gone
        if won > best_won or (won == best_won and gone < best_gone):
            met_at = work if won > best_won else met_at
            _copied(tried, best)
            best_won, best_gone = won, gone
    return best[0], best[1], work
