"""What a day is planned from: ways, hours, fuel and wishes; and the task it is when some stops are done.

What an engine burns on the ways of a day.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from ...errors import UsageError
from ...units import GALLON_L
from .day_task import FAR, VALUE_STEP, DayTask, whole_up

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import pandas as pd

    from ..ways.passages import Passages
    from .day_moves import Routes
    from .day_offers import Spans, Wishes
    from .day_task import DayHours, Route

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

FIRST_HOLD: Final = 2
"""Place of the first hold in a task; the places before it are `START` and `END`."""

_LEAST_RUN_M: Final = 1.0  # nobody gets on plane for less


def times_with_planing(ways: Passages, plane_s: float) -> Floats:
    """Add the time to get on plane and off again to the times of all ways (n, n) of which any part is run."""
    leads = np.isfinite(ways.time_s)
    run_m = np.subtract(ways.distance_m, ways.idle_m, out=np.zeros_like(ways.time_s), where=leads)
    return ways.time_s + np.where(run_m > _LEAST_RUN_M, plane_s, 0.0)


@dataclass(frozen=True, eq=False)
class DayBasis:
    """What a day is planned from.

    Attributes
    ----------
    ways
        Ways between all places: the ramp to start from, that to end at where it is another, then the holds.
    ramps
        How many of the places are ramps.
    travel_s, burnt_l
        Time and fuel between all places; inf where no way leads.
    fuel_l
        Fuel that may be used from the start of the day on; None where it plays no part.
    spans
        When each hold is open, in seconds after the start of the day.
    stays
        Lengths of stay to choose between at each hold, in seconds, each with its share of the hold's worth.
    setup_s
        Time to get into place and to leave, added to each stay.
    worth
        Value of each hold.
    wishes, hours
        What is wished of the day, and its hours.
    days
        Days, or boats, that share the stops.
    done
        Holds fished already, in order; the day goes on from the last.
    """

    ways: Passages
    ramps: int
    travel_s: Floats
    burnt_l: Floats
    fuel_l: float | None
    spans: Sequence[Spans]
    stays: Sequence[Sequence[tuple[float, float]]]
    setup_s: float
    worth: Floats
    wishes: Wishes
    hours: DayHours
    days: int
    done: tuple[int, ...] = ()

    @property
    def begins_at(self) -> int:
        """Place, among those of the ways, that the day goes on from."""
        return self.ramps + self.done[-1] if self.done else 0

    @property
    def leads_back(self) -> bool:
        """Whether a way leads from there to where the day ends."""
        return bool(np.isfinite(self.ways.time_s[self.begins_at, self.ramps - 1]))

    def reachable(self) -> NDArray[np.bool_]:
        """Tell of each hold whether a way leads there and on to where the day ends."""
        there = self.ways.time_s[self.begins_at, self.ramps :]
        back = self.ways.time_s[self.ramps :, self.ramps - 1]
        return np.isfinite(there) & np.isfinite(back)

    def open_holds(self) -> list[int]:
        """List the holds that may be planned."""
        gone = self.wishes.never | set(self.done)
        return [
            row for row, able in enumerate(self.reachable()) if able and row not in gone and self.spans[row]
        ]

    def places(self) -> Ints:
        """Place among those of the ways of each place of a task."""
        return np.array([self.begins_at, self.ramps - 1, *range(self.ramps, len(self.travel_s))])

    def with_spans(self, spans: Sequence[Spans]) -> DayBasis:
        """Make the same basis with other hours of its holds."""
        return replace(self, spans=spans)

    def order(self, task: DayTask, route: Route) -> Ints:
        """List the places of a route, both ends included, among those of the ways."""
        return self.places()[task.along(route)]

    def task(self, begin: pd.Timestamp) -> DayTask:
        """Make the task of a day that goes on at a moment from where it is, with the fuel that is left."""
        offers = [
            (FIRST_HOLD + row, length + self.setup_s, opens, closes, self.worth[row] * share)
            for row in self.open_holds()
            for length, share in self.stays[row]
            for opens, closes in self.spans[row]
        ]
        stop, stay, opens, closes, worth = np.array(offers, dtype=float).reshape(-1, 5).T
        way = [0, *(self.ramps + row for row in self.done)]
        spent_l = float(self.burnt_l[way[:-1], way[1:]].sum())
        left_l = None if self.fuel_l is None else max(self.fuel_l - spent_l, 0.0)
        between = np.ix_(self.places(), self.places())
        return DayTask(
            travel_s=whole_up(self.travel_s[between], symmetric=True),
            fuel_ml=whole_up(1000.0 * self.burnt_l[between], symmetric=True),
            stop=stop.astype(np.int64),
            stay_s=np.ceil(stay).astype(np.int64),
            opens_s=np.ceil(np.clip(opens, -1e6, 1e8)).astype(np.int64),
            closes_s=np.floor(np.clip(closes, -1.0, 1e8)).astype(np.int64),
            worth=np.rint(worth / VALUE_STEP).astype(np.int64),
            must=frozenset(FIRST_HOLD + row for row in self.wishes.must - set(self.done)),
            begin_s=int(np.ceil(self.hours.seconds_to(begin))),
            over_s=int(self.hours.seconds_to(self.hours.over)),
            fuel_limit_ml=FAR if left_l is None else int(1000.0 * left_l),
            days=self.days,
        )


def holds_done(basis: DayBasis, *, solve: Callable[[DayTask], Routes]) -> tuple[int, ...]:
    """Tell which holds are fished already: those named, or the first of the whole day's plan where they are counted.

    Raises
    ------
    UsageError
        More are counted than the plan has.
    """
    counted = basis.wishes.counted
    if counted is None:
        return basis.wishes.done
    whole = basis.task(basis.hours.begin)
    (along,) = solve(whole)
    if counted > len(along):
        raise UsageError(
            f"done is {counted}, but the plan has {len(along)} stops; give fewer, or name the spots."
        )
    return tuple(int(whole.stop[offer]) - FIRST_HOLD for offer in along[:counted])


_CRUISE_SHARE: Final = (
    0.45  # of full throttle, which burns a tenth of the rated horsepower in gallons an hour: common practice
)
_IDLE_LPH_A_HP: Final = 0.015


@dataclass(frozen=True)
class Burn:
    """Litres an hour burnt running and idling."""

    run_lph: float
    idle_lph: float

    @classmethod
    def of_engine(cls, engine_hp: float, run_lph: float | None = None, idle_lph: float | None = None) -> Burn:
        """Take what is told, and for the rest a rule of thumb from rated horsepower (common practice)."""
        return cls(
            engine_hp / 10.0 * GALLON_L * _CRUISE_SHARE if run_lph is None else run_lph,
            engine_hp * _IDLE_LPH_A_HP if idle_lph is None else idle_lph,
        )

    def of_ways(self, ways: Passages, idle_speed_mps: float) -> Floats:
        """Litres burnt on the way between each pair of stops (n, n); inf where no way leads."""
        leads = np.isfinite(ways.time_s)
        idle_s = np.where(leads, ways.idle_m, 0.0) / idle_speed_mps
        run_s = np.maximum(np.where(leads, ways.time_s, 0.0) - idle_s, 0.0)
        return np.where(leads, (run_s * self.run_lph + idle_s * self.idle_lph) / 3600.0, np.inf)
