"""A day to be filled: places and travel, ways to fish each, hours and fuel; and what an order makes of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from ...errors import UsageError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

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
