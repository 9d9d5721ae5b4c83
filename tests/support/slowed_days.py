"""Made days whose legs take longer by the hour, and the best of each by its own reckoning: every set of stops."""

from __future__ import annotations

import math

import numpy as np

from castshed.toolbox.water.day.day_task import FAR
from castshed.toolbox.water.day.kept_hours import KeptHours

DAY = 20_000


class MadeLegs:
    """Legs whose speed changes every hour, as a share of that in calm water, worked out hour by hour."""

    hours = None

    def __init__(self, calm_s, seed, *, slowest=0.3, calm=False):
        rng = np.random.default_rng([seed, 5])
        count = len(calm_s)
        self.calm_s = calm_s
        self.share = rng.uniform(slowest, 1.0, (count, count, 12))
        if calm:
            self.share[:] = 1.0
        self.grid_s = np.arange(0.0, DAY + 7200.0, 60.0)
        self.made = {}

    def exactly(self, one, other, leave):
        """Arrival of boats that leave at some moments: hour after hour as far as each gets in it."""
        left = np.full(len(leave), float(self.calm_s[one, other]))
        clock = leave.copy()
        for hour in range(12):
            over = 3600.0 * (hour + 1) if hour < 11 else math.inf
            share = self.share[one, other, hour]
            able = np.maximum(over - clock, 0.0) * share
            goes = np.minimum(able, left)
            clock, left = clock + goes / share, left - goes
        return clock

    def more_s(self, one, other):
        key = one, other
        if key not in self.made:
            own = self.exactly(one, other, self.grid_s) - self.grid_s - self.calm_s[one, other]
            self.made[key] = np.maximum(own, 0.0)
        return self.made[key]

    def longer_s(self, one, other, leave):
        return math.ceil(float(np.interp(leave, self.grid_s, self.more_s(one, other))) - 1e-6)


def kept_of(task, legs, *, shut=None):
    """Hours of a task whose places are those of the ways; legs may be shut for a time."""
    count = len(task.travel_s)
    kept = KeptHours(
        [(0.0, 1e9)], [(-np.inf, np.inf)], None, np.arange(count), lambda one, other: None, {}, None, legs
    )
    for key, span in (shut or {}).items():
        kept._open[key] = [(0.0, span[0]), (span[1], 1e9)]
    return kept


def most_worth(task, legs):
    """Greatest value of all routes of one day, one offer a stop, by the earliest end of each set of stops at each last.

    M. Held and R. M. Karp (1962), with the clock as cost: nobody who leaves later arrives before, so of one set and one
    last stop only the earliest end counts.
    """
    stops = sorted(task.offers_of)
    count = len(stops)
    offer = [int(task.offers_of[stop][0]) for stop in stops]
    assert all(len(task.offers_of[stop]) == 1 for stop in stops)
    never = 10**9

    def reached(one, other, leave):
        if task.travel_s[one, other] >= FAR:
            return np.full(len(leave), never)
        more = np.ceil(np.interp(leave, legs.grid_s, legs.more_s(one, other)) - 1e-6)
        return np.where(leave >= never, never, leave + int(task.travel_s[one, other]) + more).astype(np.int64)

    def left(place, at):
        over = np.maximum(at, task.opens_s[offer[place]]) + task.stay_s[offer[place]]
        return np.where((at >= never) | (over > task.closes_s[offer[place]]), never, over)

    sets = np.arange(1 << count)
    size = np.array([int(one).bit_count() for one in sets])
    ends = np.full((len(sets), count), never, dtype=np.int64)
    begin = np.array([int(task.begin_s)])
    for k, stop in enumerate(stops):
        ends[1 << k, k] = left(k, reached(0, stop, begin))[0]
    for members in range(1, count):
        for k in range(count):
            own = sets[(size == members) & (sets >> k & 1 == 1)]
            own = own[ends[own, k] < never]
            for j in range(count):
                onward = own[own >> j & 1 == 0]
                if j != k and len(onward):
                    over = left(j, reached(stops[k], stops[j], ends[onward, k]))
                    ends[onward | 1 << j, j] = np.minimum(ends[onward | 1 << j, j], over)
    worth = np.zeros(len(sets), dtype=np.int64)
    for k in range(count):
        worth += np.where(sets >> k & 1 == 1, task.worth[offer[k]], 0)
    home = np.stack([reached(stops[k], 1, ends[:, k]) for k in range(count)], axis=1)
    return int(worth[(home <= task.over_s).any(axis=1)].max(initial=0))
