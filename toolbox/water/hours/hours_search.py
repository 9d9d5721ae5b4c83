"""The best day whose legs take longer by the hour, for many stops: taken apart and put together again.

Every step of a route is timed by the hours, so that a route that is found can be run as it is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from ...compiled import compiled
from .hour_walks import EVER, NEVER, home_at, stops_next

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .hour_walks import HourTables

TURNS: Final = 800
"""Times a day is taken apart."""

_RANDOM: Final = (
    48271  # a minimal standard generator: the same numbers on every machine (Park and Miller 1988)
)
_MODULUS: Final = 2147483647
_MOST_OUT: Final = 5
_WORSE: Final = 0.03  # of the worth of the best day, followed at first


@compiled
def _clocks(
    route: Any, length: Any, since: Any, clocks: Any, burns: Any, offers: Any, travel: Any, early: Any, fuel: Any,
    first: Any, spans: Any, more: Any, grid: Any, limits: Any,
) -> Any:  # fmt: skip
    """Time a route from its stop `since` on, whose clock and fuel before are known; when it is back, or `NEVER`."""
    for k in range(since, length):
        o = route[k]
        here = 0 if k == 0 else offers[route[k - 1], 0]
        until = EVER if k == 0 else offers[route[k - 1], 6]
        free, _ = stops_next(
            here, o, clocks[k], until, offers, travel, early, first, spans, more, grid, limits
        )
        if free == NEVER:
            return free
        clocks[k + 1] = free
        burns[k + 1] = burns[k] + fuel[here, offers[o, 0]]
        if burns[k + 1] + fuel[offers[o, 0], 1] > limits[2]:
            return NEVER
    if length == 0:
        return limits[0]
    o = route[length - 1]
    back, _ = home_at(offers[o, 0], clocks[length], offers[o, 6], travel, first, spans, more, grid, limits)
    return back


@compiled
def _time_all(
    routes: Any, lengths: Any, clocks: Any, burns: Any, backs: Any, offers: Any, travel: Any, early: Any, fuel: Any,
    first: Any, spans: Any, more: Any, grid: Any, limits: Any,
) -> None:  # fmt: skip
    """Time every route from its start."""
    for d in range(len(lengths)):
        backs[d] = _clocks(
            routes[d], lengths[d], 0, clocks[d], burns[d], offers, travel, early, fuel, first, spans, more, grid, limits
        )  # fmt: skip


@compiled
def _copy(routes: Any, lengths: Any, to_routes: Any, to_lengths: Any) -> None:
    """Copy routes place by place: one slice put into another takes numba seconds to compile."""
    for d in range(len(lengths)):
        to_lengths[d] = lengths[d]
        for k in range(lengths[d]):
            to_routes[d, k] = routes[d, k]


@compiled
def searched_hours(
    routes: Any, lengths: Any, offers: Any, starts: Any, travel: Any, early: Any, fuel: Any, first: Any, spans: Any,
    more: Any, grid: Any, limits: Any, seed: Any, turns: Any, worse: Any, most_out: Any,
) -> Any:  # fmt: skip
    """Search; `routes` (days, places) and `lengths` are the routes to begin with and become the best ones."""
    never = NEVER
    days, room = routes.shape
    count = len(travel)
    now, long = routes.copy(), lengths.copy()
    clocks = np.zeros((days, room + 2), dtype=np.int64)
    burns = np.zeros((days, room + 2), dtype=np.int64)
    backs = np.zeros(days, dtype=np.int64)
    some_clocks = np.zeros(room + 2, dtype=np.int64)
    some_burns = np.zeros(room + 2, dtype=np.int64)
    tried = np.zeros(room + 1, dtype=np.int64)
    met = np.zeros(count, dtype=np.bool_)
    state = seed % (_MODULUS - 1) + 1
    best_worth = np.int64(0)
    best_back = np.int64(0)
    for d in range(days):
        clocks[d, 0] = limits[0]
    _time_all(now, long, clocks, burns, backs, offers, travel, early, fuel, first, spans, more, grid, limits)
    for d in range(days):
        if backs[d] == never:  # no route to begin with
            long[d], lengths[d], backs[d] = 0, 0, limits[0]
        for k in range(long[d]):
            best_worth += offers[now[d, k], 4]
        best_back += backs[d]
    now_worth = best_worth
    kept_routes, kept_long = now.copy(), long.copy()  # where the search stands, to go back to
    for turn in range(turns + 1):
        if turn > 0:  # the first turn only fills
            state = state * _RANDOM % _MODULUS
            d = state % days
            state = state * _RANDOM % _MODULUS
            out = 1 + state % most_out
            state = state * _RANDOM % _MODULUS
            scattered = state % 3 == 0
            for one in range(out):
                if long[d] == 0:
                    break
                state = state * _RANDOM % _MODULUS
                if one == 0 or scattered:
                    at = state % long[d]
                elif at >= long[d]:
                    at = long[d] - 1
                for k in range(at, long[d] - 1):
                    now[d, k] = now[d, k + 1]
                long[d] -= 1
            backs[d] = _clocks(
                now[d], long[d], 0, clocks[d], burns[d], offers, travel, early, fuel, first, spans, more, grid, limits,
            )  # fmt: skip
            if backs[d] == never:  # a stop less may come too soon for an hour that is shut
                _copy(kept_routes, kept_long, now, long)
                _time_all(
                    now, long, clocks, burns, backs, offers, travel, early, fuel, first, spans, more, grid, limits,
                )  # fmt: skip
                continue
        for k in range(count):
            met[k] = False
        for d in range(days):
            for k in range(long[d]):
                met[offers[now[d, k], 0]] = True
        state = state * _RANDOM % _MODULUS
        by = state % 3  # worth a second, worth itself, worth squared a second
        while True:
            top, top_o, top_d, top_at = -1.0, -1, -1, -1
            for s in range(2, count):
                if met[s]:
                    continue
                state = state * _RANDOM % _MODULUS
                luck = 0.8 + 0.4 * (state / _MODULUS) if turn > 0 else 1.0
                for o in range(starts[s], starts[s + 1]):
                    for d in range(days):
                        if long[d] >= room:
                            continue
                        for at in range(long[d] + 1):
                            here = 0 if at == 0 else offers[now[d, at - 1], 0]
                            until = EVER if at == 0 else offers[now[d, at - 1], 6]
                            if travel[here, s] >= limits[3]:
                                continue
                            if clocks[d, at] + travel[here, s] + offers[o, 1] > offers[o, 3]:
                                break  # later places are later
                            free, _ = stops_next(
                                here,
                                o,
                                clocks[d, at],
                                until,
                                offers,
                                travel,
                                early,
                                first,
                                spans,
                                more,
                                grid,
                                limits,
                            )
                            if free == never:
                                continue
                            some_clocks[at + 1] = free
                            some_burns[at + 1] = burns[d, at] + fuel[here, s]
                            for k in range(at):
                                tried[k] = now[d, k]
                            tried[at] = o
                            for k in range(at, long[d]):
                                tried[k + 1] = now[d, k]
                            back = _clocks(
                                tried, long[d] + 1, at + 1, some_clocks, some_burns, offers, travel, early, fuel, first,
                                spans, more, grid, limits,
                            )  # fmt: skip
                            if back == never or some_burns[at + 1] + fuel[s, 1] > limits[2]:
                                continue
                            takes = max(back - backs[d], 0) + 60.0 + 0.05 * offers[o, 1]
                            score = offers[o, 4] + 1.0
                            if by == 0:
                                score = score / takes
                            elif by == 2:
                                score = score * score / takes
                            else:
                                score = score - 1e-6 * takes
                            score *= luck
                            if score > top:
                                top, top_o, top_d, top_at = score, o, d, at
            if top_o < 0:
                break
            for k in range(long[top_d], top_at, -1):
                now[top_d, k] = now[top_d, k - 1]
            now[top_d, top_at] = top_o
            long[top_d] += 1
            met[offers[top_o, 0]] = True
            backs[top_d] = _clocks(
                now[top_d], long[top_d], 0, clocks[top_d], burns[top_d], offers, travel, early, fuel, first, spans,
                more, grid, limits,
            )  # fmt: skip
        worth = np.int64(0)
        back = np.int64(0)
        for d in range(days):
            back += backs[d]
            for k in range(long[d]):
                worth += offers[now[d, k], 4]
        if worth > best_worth or (worth == best_worth and back < best_back):
            best_worth, best_back = worth, back
            _copy(now, long, routes, lengths)
        heat = worse * best_worth * (1.0 - turn / (turns + 1.0))
        if worth >= now_worth - heat and turn % 400 != 399:
            now_worth = worth
            _copy(now, long, kept_routes, kept_long)
        else:
            if turn % 400 == 399:
                _copy(routes, lengths, kept_routes, kept_long)
                now_worth = best_worth
            _copy(kept_routes, kept_long, now, long)
            _time_all(
                now, long, clocks, burns, backs, offers, travel, early, fuel, first, spans, more, grid, limits,
            )  # fmt: skip
    return best_worth


def search_in_hours(
    tables: HourTables, begin: Sequence[Sequence[int]], *, seed: int = 0, turns: int = TURNS
) -> list[list[int]]:
    """Search a day of many stops.

    Parameters
    ----------
    tables
        The day.
    begin
        Rows of offers of a route for each day to begin with; they keep the hours.
    seed, turns
        Of the draws, and how often the day is taken apart.
    """
    t = tables
    room = max(len(t.nodes) - 2, 1)
    routes = np.zeros((len(begin), room), dtype=np.int64)
    lengths = np.zeros(len(begin), dtype=np.int64)
    for day, rows in enumerate(begin):
        routes[day, : len(rows)] = rows
        lengths[day] = len(rows)
    searched_hours(
        routes, lengths, t.offers, t.starts, t.travel, t.early, t.fuel, t.first, t.spans, t.more, t.grid, t.limits,
        seed, turns, _WORSE, _MOST_OUT,
    )  # fmt: skip
    return [[int(row) for row in route[:count]] for route, count in zip(routes, lengths, strict=True)]
