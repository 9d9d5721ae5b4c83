"""A day to be filled: its hours, places, travel and fuel, ways to fish each; and what an order makes of it."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ...dates_and_times import in_zone, zone_named
from ...errors import NothingFishable, UsageError
from ..light.sun import light_spans
from ..runs.run_frames import clock_of

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from .day_offers import Spans

Ints = NDArray[np.int64]

Route = tuple[int, ...]
"""Offers in the order they are taken on one day (or by one boat)."""

START: Final = 0
END: Final = 1
FAR: Final = 10**9
"""Seconds or millilitres that stand for no way."""
VALUE_STEP: Final = 0.01


def whole_up(numbers: ArrayLike, *, symmetric: bool = False) -> Ints:
    """Round times or fuel up to whole numbers; inf becomes `FAR`.

    Rounding up keeps the triangle inequality, and what fits in whole numbers fits in truth.
    """
    given = np.asarray(numbers, dtype=np.float64)
    if np.isnan(given).any() or (given < 0).any():
        raise UsageError("Travel times and fuel must be numbers of 0 or more; inf stands for no way.")
    made = np.where(np.isfinite(given), np.ceil(np.minimum(given, FAR) - 1e-9), FAR).astype(np.int64)
    return np.minimum(np.maximum(made, made.T), FAR) if symmetric else np.minimum(made, FAR)


@dataclass(frozen=True, eq=False)
class DayTask:
    """What a day is made of; times in whole seconds, fuel in whole millilitres.

    Attributes
    ----------
    travel_s, fuel_ml
        Between places (n, n); place `START` is where the day begins, place `END` where it ends.
    stop
        Place of each offer (m,): one way of fishing a stop, in one window, for one length of stay. At most one offer of
        a stop is taken.
    stay_s, opens_s, closes_s
        Time an offer takes, the earliest it may begin and the latest it must be over.
    worth
        Whole value of each offer, in steps of `VALUE_STEP`.
    must
        Places that have to be visited.
    begin_s, over_s
        Earliest start and latest end of the day.
    fuel_limit_ml
        Fuel that may be used.
    days
        Days, or boats, that share the stops.
    """

    travel_s: Ints
    fuel_ml: Ints
    stop: Ints
    stay_s: Ints
    opens_s: Ints
    closes_s: Ints
    worth: Ints
    must: frozenset[int]
    begin_s: int
    over_s: int
    fuel_limit_ml: int = FAR
    days: int = 1
    offers_of: dict[int, Ints] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        places = len(self.travel_s)
        wrong = [
            name
            for name in ("stay_s", "opens_s", "closes_s", "worth")
            if len(getattr(self, name)) != len(self.stop)
        ]
        if wrong or self.fuel_ml.shape != self.travel_s.shape or self.travel_s.shape != (places, places):
            raise UsageError(
                f"The parts of a day do not fit together: {', '.join(wrong) or 'travel and fuel'}."
            )
        found = {int(stop): np.flatnonzero(self.stop == stop) for stop in np.unique(self.stop)}
        object.__setattr__(self, "offers_of", found)

    def along(self, route: Route) -> list[int]:
        """List the places of a route, both ends included."""
        return [START, *(int(self.stop[offer]) for offer in route), END]

    def without(self, places: Sequence[int]) -> DayTask:
        """Close all offers of some places; the others keep their numbers."""
        gone = np.isin(self.stop, np.asarray(places, dtype=np.int64))
        return replace(
            self,
            closes_s=np.where(gone, -1, self.closes_s),
            must=self.must - {int(place) for place in places},
        )


@dataclass(frozen=True, eq=False)
class Timed:
    """A route with its times: when each offer begins, when the day starts and is over, what it is worth and costs."""

    begins_s: Ints
    starts_s: int
    over_s: int
    worth: int
    travel_s: int
    fuel_ml: int


def timed(task: DayTask, route: Route) -> Timed | None:
    """Put times on a route: as early as can be, the start as late as that allows.

    Returns
    -------
    Timed or None
        None where a window, the end of the day or the fuel is missed.
    """
    at, clock, travel, fuel = START, task.begin_s, 0, 0
    begins = np.empty(len(route), dtype=np.int64)
    for order, offer in enumerate(route):
        place = int(task.stop[offer])
        step = int(task.travel_s[at, place])
        clock = max(clock + step, int(task.opens_s[offer]))
        begins[order] = clock
        clock += int(task.stay_s[offer])
        if clock > task.closes_s[offer] or step >= FAR:
            return None
        travel += step
        fuel += int(task.fuel_ml[at, place])
        at = place
    step = int(task.travel_s[at, END]) if route else 0
    travel, clock = travel + step, clock + step
    fuel += int(task.fuel_ml[at, END]) if route else 0
    if clock > task.over_s or fuel > task.fuel_limit_ml or step >= FAR:
        return None
    starts = int(begins[0] - task.travel_s[START, task.stop[route[0]]]) if route else task.begin_s
    return Timed(begins, starts, clock, int(task.worth[list(route)].sum()), travel, fuel)


def visited(task: DayTask, routes: Sequence[Route]) -> set[int]:
    """Places that some routes visit."""
    return {int(task.stop[offer]) for route in routes for offer in route}


def same_offers(task: DayTask, routes: Sequence[Route], other: DayTask) -> list[Route]:
    """Name the offers of some routes by the numbers of another day; those it does not have are left out."""

    def found(offer: int) -> list[int]:
        there = other.offers_of.get(int(task.stop[offer]), np.empty(0, dtype=np.int64))
        same = (
            (other.stay_s[there] == task.stay_s[offer])
            & (other.opens_s[there] <= task.opens_s[offer])
            & (other.closes_s[there] >= task.closes_s[offer])
        )
        return [int(one) for one in there[same][:1]]

    return [tuple(one for offer in route for one in found(offer)) for route in routes]


def merit(task: DayTask, routes: Sequence[Route]) -> tuple[int, int, int]:
    """Rank a set of routes: must stops visited, then value, then least travel; greater is better.

    Raises
    ------
    UsageError
        A route breaks a rule, or a stop is visited twice.
    """
    worth = travel = 0
    places: list[int] = []
    for route in routes:
        found = timed(task, route)
        if found is None:
            raise UsageError("A route misses a window, the end of the day or the fuel.")
        worth, travel = worth + found.worth, travel + found.travel_s
        places += [int(task.stop[offer]) for offer in route]
    if len(set(places)) != len(places):
        raise UsageError("A stop is visited twice.")
    return len(task.must & set(places)), worth, -travel


EVER: Final[Spans] = [(-math.inf, math.inf)]
_DAY_S: Final = 86_400.0


@dataclass(frozen=True)
class DayHours:
    """Earliest start of the day, the moment it is planned from, and when the boat has to be back; with their zones."""

    begin: pd.Timestamp
    now: pd.Timestamp
    over: pd.Timestamp

    def after(self, seconds: float) -> pd.Timestamp:
        """Tell the moment so many whole seconds after the beginning."""
        return self.begin + pd.Timedelta(seconds=int(seconds))

    def seconds_to(self, moment: pd.Timestamp) -> float:
        """Seconds from the beginning to a moment."""
        return float((moment - self.begin).total_seconds())


def moment_of(text: str, start: pd.Timestamp, what: str, zone: str = "") -> pd.Timestamp:
    """Read a time of the day's own, such as 14:30, or one written out in full.

    Parameters
    ----------
    text
        The time.
    start
        A moment of the day; its date and zone are those of a bare clock time.
    what
        Name of the option, for the message.
    zone
        Zone of the IANA database whose clock it is; empty: the offset of the moment.

    Raises
    ------
    UsageError
        It is no time, or empty, or the clocks skip it.
    """
    try:
        clock = dt.time.fromisoformat(text.strip())
    except ValueError:
        at = clock_of(text, what)
        if at is None:
            raise UsageError(f"{what} is empty; write a time such as 14:30.") from None
        return at.tz_convert(start.tzinfo) if zone else at
    if zone:
        named = zone_named(zone)
        moment = in_zone(dt.datetime.combine(start.date(), clock), named, what)
        return pd.Timestamp(moment).tz_convert(named)
    return pd.Timestamp(dt.datetime.combine(start.date(), clock, start.tzinfo))


def hours_of(depart: str, back_by: str, at: str, zone: str = "") -> DayHours:
    """Read the hours of a day.

    Parameters
    ----------
    depart
        Date, time and zone.
    back_by, at
        Times of that day; without ``at`` the day is planned from its beginning.
    zone
        Zone of the IANA database by whose clock they are read and told; empty: the offset of ``depart``.

    Raises
    ------
    UsageError
        A time cannot be read.
    NothingFishable
        The day is over before it begins.
    """
    begin = clock_of(depart)
    if begin is None:
        raise UsageError("depart is empty; write date, time and zone, such as 2026-05-16T06:00-05:00.")
    begin = begin.tz_convert(zone_named(zone)) if zone else begin
    over = moment_of(back_by, begin, "back-by", zone)
    now = moment_of(at, begin, "at", zone) if at else begin
    if over <= now:
        raise NothingFishable(
            f"What must be does not fit together: start at {now:%H:%M}; back by {over:%H:%M}. Give a later end."
        )
    return DayHours(begin, now, over)


def daylight(start: pd.Timestamp, days: int, latitude_deg: float, longitude_deg: float) -> Spans:
    """List the stretches that are light by the sun's height, from the day before on, in seconds after the start.

    Parameters
    ----------
    start
        The moment seconds are counted from, with its zone.
    days
        How many days from that of the start on; the one after them is told too.
    latitude_deg, longitude_deg
        Place, north and east positive.
    """
    first = (start - pd.Timedelta(days=1)).to_pydatetime()
    last = (start + pd.Timedelta(days=days + 1)).to_pydatetime()
    found = light_spans(first, last, latitude_deg, longitude_deg)
    return [(begin - _DAY_S, end - _DAY_S) for begin, end in found]
