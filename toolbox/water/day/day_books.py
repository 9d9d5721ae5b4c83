"""The books of a day while it is searched: routes with their times and sums, kept up in machine-speed loops."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from ...compiled import compiled

PLACE: Final = 0
STAY: Final = 1
OPENS: Final = 2
CLOSES: Final = 3
WORTH: Final = 4
"""Columns of the table of offers (m, 5)."""

GONE: Final = 0
BURNT: Final = 1
WON: Final = 2
"""Columns of the sums of a route: travel, fuel, worth."""

BEGIN: Final = 0
OVER: Final = 1
FUEL: Final = 2
NO_WAY: Final = 3
"""Columns of the limits of a day; a way as long as the last is none."""

DETOUR: Final = 0
PUSH: Final = 1
IDLE: Final = 2
"""What a place in a route is judged by: travel added, time pushed on to what follows, travel and waiting added."""


@compiled
def drawn(state: Any) -> Any:
    """Draw a number from 0 to 1 (xorshift64*, Vigna 2016); whole-number steps, so the same on every machine."""
    x = state[0]
    x ^= x >> np.uint64(12)
    x ^= x << np.uint64(25)
    x ^= x >> np.uint64(27)
    state[0] = x
    return ((x * np.uint64(2685821657736338717)) >> np.uint64(11)) * (1.0 / 9007199254740992.0)


@compiled
def new_books(boats: Any, room: Any) -> Any:
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
def copied(source: Any, target: Any) -> None:
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
def refresh(r: Any, day: Any, offers: Any, travel: Any, fuel: Any, limits: Any) -> None:
    """Put right the times along a route: begun and left at the earliest, reached at the latest; and its sums."""
    route, length, places, begins, leaves, latest, sums = day
    count = length[r]
    gone, burnt, won, at = 0, 0, 0, 0
    clock = limits[BEGIN]
    places[r, 0], begins[r, 0], leaves[r, 0] = 0, clock, clock
    for k in range(count):
        o = route[r, k]
        place = offers[o, PLACE]
        gone += travel[at, place]
        burnt += fuel[at, place]
        won += offers[o, WORTH]
        clock = max(clock + travel[at, place], offers[o, OPENS])
        begins[r, k + 1] = clock
        clock += offers[o, STAY]
        places[r, k + 1], leaves[r, k + 1] = place, clock
        at = place
    if count:
        gone += travel[at, 1]
        burnt += fuel[at, 1]
        clock += travel[at, 1]
    places[r, count + 1], begins[r, count + 1], latest[r, count + 1] = 1, clock, limits[OVER]
    for k in range(count - 1, -1, -1):
        o = route[r, k]
        onward = latest[r, k + 2] - travel[places[r, k + 1], places[r, k + 2]]
        latest[r, k + 1] = min(onward, offers[o, CLOSES]) - offers[o, STAY]
    sums[r, GONE], sums[r, BURNT], sums[r, WON] = gone, burnt, won


@compiled
def best_place(
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
    route, length, places, begins, leaves, latest, sums = day  # as `new_books` makes them
    place, stay, opens, closes = offers[o, PLACE], offers[o, STAY], offers[o, OPENS], offers[o, CLOSES]
    best_at, best_cost = -1, limits[NO_WAY]
    spare = limits[FUEL] - sums[r, BURNT]
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
        if over > closes or over + onward > room or there >= limits[NO_WAY] or onward >= limits[NO_WAY]:
            continue
        more, cost = fuel[a, place] + fuel[place, b], there + onward
        if count:
            more -= fuel[a, b]
            cost -= travel[a, b]
        if more > spare:
            continue
        if mode == PUSH:  # time pushed on to what follows, in place of the detour
            pushed = over + onward
            if k < count:
                pushed = max(pushed, offers[route[r, k], OPENS])
            cost = pushed - begins[r, k + 1]
        elif mode == IDLE:
            cost += over - left - there - stay  # waiting counts as travel
        if cost < best_cost and (blink == 0.0 or drawn(state) >= blink):
            best_at, best_cost = k, cost
    return best_at, best_cost


@compiled
def put_in(o: Any, r: Any, at: Any, day: Any, offers: Any, taken: Any) -> None:
    """Put an offer into a route; the times are put right by `refresh`."""
    route, length = day[0], day[1]
    for k in range(length[r], at, -1):
        route[r, k] = route[r, k - 1]
    route[r, at] = o
    length[r] += 1
    taken[offers[o, PLACE]] = True
