"""The best day whose legs take longer by the hour: exact for few stops, taken apart and put together for many.

Every step of a route is timed by the hours, so that a route that is found can be run as it is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from ...compiled import compiled
from ..day.day_search import _more_at_most, _unbeaten
from .hour_walks import EVER, NEVER, home_at, stops_next

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from .hour_walks import HourTables

    Ints = NDArray[np.int64]

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


_MOST_WAYS: Final = 600_000

# Columns of a way so far: 0 stops met as bits, 1 its last offer, 2 clock, 3 fuel, 4 worth, 5 travel, 6 the way it goes
# on from, 7 unused. Who is free sooner at the same offer can do all that who is free later can: no leg is overtaken.


@compiled
def _onward(
    ways: Any, base: Any, offers: Any, starts: Any, travel: Any, early: Any, fuel: Any, first: Any, spans: Any,
    more: Any, grid: Any, limits: Any, known: Any, most: Any, rate: Any, by_rate: Any, made: Any,
) -> Any:  # fmt: skip
    """Write every way that is one offer longer and can still be best; returns how many, or -1 for want of room."""
    count = 0
    for w in range(len(ways)):
        last = ways[w, 1]
        here = 0 if last < 0 else offers[last, 0]
        until = EVER if last < 0 else offers[last, 6]
        for s in range(2, len(travel)):
            if ways[w, 0] >> (s - 2) & 1 or travel[here, s] >= limits[3]:
                continue
            burnt = ways[w, 3] + fuel[here, s]
            if burnt + fuel[s, 1] > limits[2]:
                continue
            met = ways[w, 0] | (1 << (s - 2))
            for o in range(starts[s], starts[s + 1]):
                left, gone = stops_next(
                    here, o, ways[w, 2], until, offers, travel, early, first, spans, more, grid, limits
                )
                if left == NEVER or left + travel[s, 1] > limits[1]:
                    continue
                won = ways[w, 4] + offers[o, 4]
                if won + _more_at_most(met, float(limits[1] - left), most, rate, by_rate) + 1e-6 < known:
                    continue
                if count == len(made):
                    return -1
                made[count, 0], made[count, 1], made[count, 2], made[count, 3] = met, o, left, burnt
                made[count, 4], made[count, 5], made[count, 6] = won, ways[w, 5] + travel[here, s], base + w
                made[count, 7] = gone
                count += 1
    return count


@compiled
def _homes(
    ways: Any, offers: Any, travel: Any, first: Any, spans: Any, more: Any, grid: Any, limits: Any
) -> Any:
    """Moment each way is back, or `NEVER`."""
    back = np.empty(len(ways), dtype=np.int64)
    for w in range(len(ways)):
        o = ways[w, 1]
        back[w], _ = home_at(offers[o, 0], ways[w, 2], offers[o, 6], travel, first, spans, more, grid, limits)
    return back


def exact_in_hours(tables: HourTables, known: int) -> list[int] | None:
    """Find the best route of one day.

    Parameters
    ----------
    tables
        A day of few stops.
    known
        Worth of a route that is known; others below it are given up.

    Returns
    -------
    list or None
        Rows of offers in order: most worth, then the soonest back; empty where nothing reaches what is known. None
        where more ways would have to be kept than there is room for.
    """
    t = tables
    count = len(t.nodes) - 2
    if not len(t.offers):
        return []
    ways_in = t.travel.T[2:].copy()
    ways_in[np.arange(count), np.arange(count) + 2] = t.limits[3]
    stays = np.maximum(t.offers[:, 1] + ways_in.min(axis=1)[t.offers[:, 0] - 2], 1)
    begins = t.starts[2:-1]
    most = np.maximum(np.maximum.reduceat(t.offers[:, 4], begins), 1e-9).astype(np.float64)
    rate = np.maximum(np.maximum.reduceat(t.offers[:, 4] / stays, begins), 1e-12)
    by_rate = np.argsort(-rate, kind="stable")
    best, best_at = (known, NEVER), -1
    layers: list[Ints] = [np.array([[0, -1, t.limits[0], 0, 0, 0, -1, -1]], dtype=np.int64)]
    base, room = 0, np.empty((_MOST_WAYS, 8), dtype=np.int64)
    while len(layers[-1]):
        made = _onward(
            layers[-1], base, t.offers, t.starts, t.travel, t.early, t.fuel, t.first, t.spans, t.more, t.grid, t.limits,
            best[0], most, rate, by_rate, room,
        )  # fmt: skip
        if made < 0:
            return None
        base += len(layers[-1])
        ways = room[:made]
        ways = ways[np.lexsort((ways[:, 5], -ways[:, 4], ways[:, 3], ways[:, 2], ways[:, 1], ways[:, 0]))]
        ways = ways[_unbeaten(ways)] if made else ways
        layers.append(ways)
        if made:
            back = _homes(ways, t.offers, t.travel, t.first, t.spans, t.more, t.grid, t.limits)
            able = np.flatnonzero(back != NEVER)
            if able.size:
                order = able[np.lexsort((back[able], -ways[able, 4]))]
                told = (int(ways[order[0], 4]), -int(back[order[0]]))
                if told > best:
                    best, best_at = told, base + int(order[0])
    if best_at < 0:
        return []
    every = np.concatenate(layers)
    route: list[int] = []
    while every[best_at, 1] >= 0:
        route.append(int(every[best_at, 1]))
        best_at = int(every[best_at, 6])
    return route[::-1]
