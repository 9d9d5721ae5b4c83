"""A run in waves: the order of its stops that is back soonest, and its times by the clock alone."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..day.day_exact import MOST_STOPS
from ..day.day_hours import EVER
from ..day.day_task import END, FAR, START
from ..day.kept_hours import KeptHours, kept_walk, longer_legs
from .slowed_day import slowed_day

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ..day.day_hours import DayHours
    from ..day.day_task import DayTask, Route
    from ..day.kept_hours import KeptTimes
    from ..runs.run_frames import Clock


@dataclass(frozen=True, eq=False)
class Waved:
    """A run in waves.

    Attributes
    ----------
    places
        Of the task, in order, start and end included.
    times
        Of the run from the beginning on, nobody waiting.
    stay_s
        At each stop.
    longer_s
        What waves add to each leg.
    """

    places: list[int]
    times: KeptTimes
    stay_s: list[int]
    longer_s: tuple[int, ...]

    def clocks(self, hours: DayHours) -> tuple[list[Clock], list[Clock]]:
        """Tell arrivals and departures at each place."""
        arrive: list[Clock] = [
            None,
            *(hours.after(at) for at in self.times.begins_s),
            hours.after(self.times.over_s),
        ]
        leave: list[Clock] = [*(hours.after(at) for at in self.times.leaves_s), None]
        return arrive, leave


def in_waves(task: DayTask, places: Sequence[int], kept: KeptHours) -> Waved | None:
    """Order the stops of a run so that it is back soonest in the waves of the hours it is run in.

    Parameters
    ----------
    task
        Its stops, open at all hours.
    places
        The run in the order that is shortest in calm water, start and end included.
    kept
        Knows the waves.

    Returns
    -------
    Waved or None
        None where waves slow none of its legs.
    """
    if kept.slowed is None or len(places) < 3:
        return None
    stops = list(places[1:-1])
    others = [int(place) for place in task.offers_of if place not in set(stops)]
    only = replace(task.without(others), must=frozenset(stops))
    free = KeptHours(EVER, EVER, None, kept.places, kept.line_of, {}, None, kept.slowed)
    ends = [START, *stops], [*stops, END]
    legs = {(a, b) for a in ends[0] for b in ends[1] if a != b and task.travel_s[a, b] < FAR}
    shortest: Route = tuple(int(only.offers_of[place][0]) for place in stops)
    kept.learn(sorted(legs) if len(stops) <= MOST_STOPS else itertools.pairwise(places))
    known, _ = kept_walk(only, shortest, free)
    if known is None or not any(
        kept.slowed.more_s(int(kept.places[a]), int(kept.places[b])).any()
        for a, b in itertools.pairwise(places)
    ):
        return None
    best = shortest
    (found,) = slowed_day(only, free, [shortest], [shortest])
    if len(found) == len(stops) and (told := kept_walk(only, found, free)[0]) is not None:
        best, known = (found, told) if told.over_s < known.over_s else (best, known)
    order = only.along(best)
    stay = [int(only.stay_s[offer]) for offer in best]
    begins = np.asarray(known.begins_s)
    leaves = [int(task.begin_s), *(int(at) + own for at, own in zip(begins, stay, strict=True))]
    return Waved(
        order,
        known._replace(leaves_s=np.array(leaves, dtype=np.int64)),
        stay,
        tuple(longer_legs(free, order, leaves)),
    )
