"""Hours that are kept: when the boat may lie at a place and when it may run a leg, and a route timed by them.

Light, the wind of the hour, its seas on the way, and where the forecast says nothing. A boat may wait ashore before it
starts; afloat it waits only where the hours allow it to lie.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

from ..verdicts.leg_hours import Against, open_when
from ..verdicts.way_seas import pieces_of_ways
from ..wind.lake_winds import without
from .day_offers import both
from .day_task import END, FAR, START

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from numpy.typing import NDArray

    from ..verdicts.leg_hours import LegHours
    from ..verdicts.wave_speeds import SlowedLegs
    from .day_offers import Spans
    from .day_task import DayTask, Ints, Route

    Floats = NDArray[np.float64]


_LONGEST_S: Final = 8 * 3600.0  # no leg of a day is left longer before it has to be over


class KeptTimes(NamedTuple):
    """A route with its times: arrivals to fish, departures (the start first), the end, travel and worth."""

    begins_s: Ints
    leaves_s: Ints
    over_s: int
    travel_s: int
    worth: int


@dataclass(eq=False)
class KeptHours:
    """What the hours allow.

    Attributes
    ----------
    light
        When it is light, or night was asked for.
    known
        When a wind is told; always where wind plays no part.
    legs
        Judges legs by the hour; None where wind plays no part.
    places
        Of each place of a task, its number among the ways.
    line_of
        Whole line of the leg between two places of the ways; None where they are one.
    lies
        When a boat may lie at each place of the ways; a place that is not named: whenever a leg may be run at all.
    fastest_s
        Least time between the places of the ways: the times of a task add getting on plane and slow zones, and a boat
        that needs less must not come before a place is open either.
    slowed
        Tells how much longer legs take in waves, by the hour; None where waves slow nobody.
    """

    light: Spans
    known: Spans
    legs: LegHours | None
    places: Ints
    line_of: Callable[[int, int], Any]
    lies: Mapping[int, Spans]
    fastest_s: Floats | None = None
    slowed: SlowedLegs | None = None
    _against: dict[tuple[int, int], list[Against]] = field(default_factory=dict, repr=False)
    _open: dict[tuple[int, int], Spans] = field(default_factory=dict, repr=False)

    @property
    def afloat(self) -> Spans:
        """When anybody may be afloat at all: light, wind told and within its limits."""
        over_all = [] if self.legs is None else self.legs.over_all()
        return open_when(over_all, both(self.light, self.known))

    @property
    def seas_forbid(self) -> bool:
        """Whether seas forbid any leg asked for so far at any hour."""
        return any(self._against.values())

    def seas_against(self, one: int, other: int) -> list[Against]:
        """Tell when the seas forbid the leg between two places of a task."""
        if self.legs is None:
            return []
        key = int(self.places[one]), int(self.places[other])
        if key not in self._against:
            self._against[key] = self.legs.seas_against([self.line_of(*key)])[0]
        return self._against[key]

    def look_ahead(self, order: Sequence[int]) -> None:
        """Let the seas of a whole run be worked out at once before each of its legs is asked for."""
        if self.legs is not None:
            keys = [(int(self.places[a]), int(self.places[b])) for a, b in itertools.pairwise(order)]
            self.legs.look_ahead(self.line_of(*key) for key in keys if key not in self._against)

    def leg_open(self, one: int, other: int) -> Spans:
        """Tell when a boat may be on the leg between two places of a task."""
        key = int(self.places[one]), int(self.places[other])
        if key not in self._open:
            self._open[key] = open_when(self.seas_against(one, other), self.afloat)
        return self._open[key]

    def early_s(self, one: int, other: int, takes_s: int) -> int:
        """Tell how much earlier than planned a boat may be there."""
        if self.fastest_s is None:
            return 0
        fastest = float(self.fastest_s[int(self.places[one]), int(self.places[other])])
        return max(takes_s - int(np.floor(fastest)), 0) if np.isfinite(fastest) else 0

    def longer_s(self, one: int, other: int, leave_s: float) -> int:
        """Tell how much longer waves make the leg between two places of a task, left at a moment; 0 where none does."""
        if self.slowed is None:
            return 0
        return self.slowed.longer_s(int(self.places[one]), int(self.places[other]), leave_s)

    def learn(self, legs: Iterable[tuple[int, int]]) -> None:
        """Work out the waves on many legs between places of a task at once, which is far quicker than one by one."""
        judge = self.legs if self.legs is not None or self.slowed is None else self.slowed.hours
        if judge is None:
            return
        ways = {(int(self.places[one]), int(self.places[other])) for one, other in legs}
        lines = [
            self.line_of(*way) for way in sorted({(min(way), max(way)) for way in ways if way[0] != way[1]})
        ]
        judge.waves_at(pieces_of_ways(lines).middle)

    def lies_at(self, place: int, opens_s: float, closes_s: float) -> tuple[float, float]:
        """Find the stretch round a window in which a boat may lie at a place of a task."""
        spans = self.lies.get(int(self.places[place]))
        for begin, end in self.afloat if spans is None else spans:
            if begin <= opens_s + 1.0 and closes_s - 1.0 <= end:
                return min(begin, opens_s), max(end, closes_s)
        return opens_s, closes_s


Longer = Callable[[float], int]
"""How much longer a leg takes by the moment it is left at; who leaves later never arrives before."""


def _leaves(
    spans: Spans, after_s: float, until_s: float, takes_s: int, there: tuple[float, float], longer: Longer
) -> int | None:
    """Find the earliest whole second to leave at, the way open all along and the arrival within a stretch."""
    for begin, end in spans:
        at = max(after_s, begin, there[0] - takes_s)
        at = float(np.ceil(at - 1e-9)) if np.isfinite(at) else at
        latest = min(end, there[1]) + 1e-9
        if at + takes_s <= latest and at + takes_s + longer(at) <= latest:
            return int(at) if at <= until_s + 1e-9 else None
    return None


def _latest(spans: Spans, until_s: float, takes_s: int, there_by_s: float, longer: Longer) -> int | None:
    """Find the latest whole second to leave at."""
    best: int | None = None
    for begin, end in spans:
        over = min(end, there_by_s)
        at = np.floor(over - takes_s + 1e-9)
        at = min(at, np.floor(until_s))
        if not (np.isfinite(at) and at >= begin - 1e-9):
            continue
        late, soon = int(at), int(np.ceil(max(begin, at - _LONGEST_S)))
        if (
            late + takes_s + longer(late) > over + 1e-9
        ):  # nobody overtakes: halve until the last one in time is found
            if soon + takes_s + longer(soon) > over + 1e-9:
                continue
            while late - soon > 1:
                half = (late + soon) // 2
                soon, late = (half, late) if half + takes_s + longer(half) <= over + 1e-9 else (soon, half)
            late = soon
        best = late if best is None else max(best, late)
    return best


def kept_walk(task: DayTask, route: Route, kept: KeptHours) -> tuple[KeptTimes | None, int]:
    """Put times on a route that every hour allows: stops, legs, waiting and the way home.

    Returns
    -------
    KeptTimes or None
        As early as can be, the start as late as that allows; None where the route can't be kept.
    int
        Leg that fails, counted from 0.
    """
    count = len(route)
    begins, leaves = np.empty(count, dtype=np.int64), np.empty(count + 1, dtype=np.int64)
    at, clock, until, travel = START, int(task.begin_s), np.inf, 0
    for k, offer in enumerate(route):
        place, stay = int(task.stop[offer]), int(task.stay_s[offer])
        takes = int(task.travel_s[at, place])
        opens, closes = float(task.opens_s[offer]), float(task.closes_s[offer])
        lies = kept.lies_at(place, opens, closes)
        left = None
        if takes < FAR:
            there = lies[0] + kept.early_s(at, place, takes), closes - stay
            longer = partial(kept.longer_s, at, place)
            left = _leaves(kept.leg_open(at, place), clock, until, takes, there, longer)
        if left is None:
            return None, k
        takes += kept.longer_s(at, place, left)
        begins[k] = int(max(left + takes, np.ceil(opens)))
        if begins[k] + stay > closes:
            return None, k
        leaves[k] = left
        at, clock, until, travel = place, int(begins[k]) + stay, lies[1], travel + takes
    if not count:
        leaves[0] = clock
        return KeptTimes(begins, leaves, clock, 0, 0), 0
    takes = int(task.travel_s[at, END])
    left = None
    if takes < FAR:
        home = partial(kept.longer_s, at, END)
        left = _leaves(kept.leg_open(at, END), clock, until, takes, (-np.inf, float(task.over_s)), home)
    if left is None:
        return None, count
    takes += kept.longer_s(at, END, left)
    leaves[count] = left
    first = int(task.travel_s[START, task.stop[route[0]]])
    to_first = int(task.stop[route[0]])
    early = partial(kept.longer_s, START, to_first)
    late = _latest(kept.leg_open(START, to_first), np.inf, first, float(begins[0]), early)
    if late is not None and late > leaves[0]:
        travel += early(late) - early(int(leaves[0]))
        leaves[0] = late
    worth = int(task.worth[list(route)].sum())
    return KeptTimes(begins, leaves, left + takes, travel + takes, worth), 0


def turn_back_s(task: DayTask, place: int, kept: KeptHours) -> int | None:
    """Find the latest second at which the way home from a place can still be taken; None where none can."""
    takes = int(task.travel_s[place, END])
    if takes >= FAR:
        return None
    return _latest(
        kept.leg_open(place, END), np.inf, takes, float(task.over_s), partial(kept.longer_s, place, END)
    )


def first_fault(
    kept: KeptHours, order: Sequence[int], arrive_s: Sequence[float], leave_s: Sequence[float]
) -> int | None:
    """Look whether a run as it is timed keeps every hour.

    Parameters
    ----------
    kept
        The hours; `order` are places of its task.
    arrive_s, leave_s
        At each place of the order; the first arrival and the last departure are not looked at.

    Returns
    -------
    int or None
        Leg or stop by its place in the order that breaks an hour; None where all are kept.
    """

    def within(spans: Spans, begin: float, end: float) -> bool:
        return any(a <= begin + 1e-6 and end <= b + 1e-6 for a, b in spans)

    kept.look_ahead(order)
    for k in range(1, len(order)):
        if not within(kept.leg_open(order[k - 1], order[k]), leave_s[k - 1], arrive_s[k]):
            return k
        if k + 1 < len(order):
            lies = kept.lies.get(int(kept.places[order[k]]))
            if not within(kept.afloat if lies is None else lies, arrive_s[k], leave_s[k]):
                return k
    return None


def longer_legs(kept: KeptHours, order: Sequence[int], leave_s: Sequence[float]) -> list[int]:
    """Tell how many seconds waves add to each leg of a run, places of a task in order, by when it is left."""
    return [
        kept.longer_s(one, other, float(at))
        for (one, other), at in zip(itertools.pairwise(order), leave_s, strict=False)
    ]


def shut(spans: Spans, begin_s: float, end_s: float) -> Spans:
    """Tell what of a time is not within stretches."""
    return without([(begin_s, end_s)], spans)
