"""The best day whose legs take longer by the hour, for few stops: every set and order that can still be best."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from ...compiled import compiled
from ..day.day_exact import _more_at_most, _unbeaten
from .hour_walks import EVER, NEVER, home_at, stops_next

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from .hour_walks import HourTables

    Ints = NDArray[np.int64]

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
