"""Plan B: where to go instead of a stop of the plan."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from .day_basis import FIRST_HOLD
from .day_task import END
from .kept_hours import kept_walk

if TYPE_CHECKING:
    from collections.abc import Collection

    from geopandas import GeoDataFrame

    from .day_basis import DayBasis
    from .day_moves import Routes
    from .day_task import DayTask
    from .kept_hours import KeptHours


def plan_b(
    holds: GeoDataFrame, taken: Collection[int], able: Collection[int], time_s: NDArray[np.float64]
) -> dict[int, int]:
    """Find the nearest open hold that is not in the plan for each one that is, in the lee where that is known.

    Parameters
    ----------
    holds
        One hold a spot; with ``bank``, only those in the lee are offered where any of them is.
    taken, able
        Rows in the plan, and rows that are open.
    time_s
        Time between all holds (n, n); inf where no way leads.

    Returns
    -------
    dict
        Row to go to by row of the plan; rows with none are left out.
    """
    spare = np.array(sorted(set(able) - set(taken)), dtype=int)
    if "bank" in holds.columns and len(spare):
        lee = (holds["bank"] == "lee").to_numpy()[spare]
        spare = spare[lee] if lee.any() else spare
    found: dict[int, int] = {}
    for row in taken if len(spare) else ():
        near = spare[np.argmin(time_s[row, spare])]
        if np.isfinite(time_s[row, near]):
            found[row] = int(near)
    return found


def plan_b_in_hours(
    holds: GeoDataFrame,
    taken: Collection[int],
    basis: DayBasis,
    task: DayTask,
    routes: Routes,
    kept: KeptHours,
) -> dict[int, int]:
    """Find a plan B for each stop that is open in the very hour the boat is there, with legs there and home open too.

    Parameters
    ----------
    holds, taken
        As for `plan_b`.
    basis, task, routes, kept
        The day, its plan and its hours.
    """
    found: dict[int, int] = {}
    between = basis.ways.time_s[basis.ramps :, basis.ramps :]
    able = basis.open_holds()
    for route in routes:
        times, _ = kept_walk(task, route, kept)
        for offer, begins in zip(route, () if times is None else times.begins_s.tolist(), strict=False):
            row = int(task.stop[offer]) - FIRST_HOLD
            stay = int(task.stay_s[offer])
            free = set(able)
            while (own := plan_b(holds, [row], free - set(taken), between).get(row)) is not None:
                place = FIRST_HOLD + own
                here = int(task.stop[offer])
                there = begins + int(task.travel_s[here, place]) + kept.longer_s(here, place, begins)
                left = there + stay
                back = left + int(task.travel_s[place, END]) + kept.longer_s(place, END, left)
                spans = (
                    (basis.spans[own], there, left),
                    (kept.leg_open(here, place), begins, there),
                    (kept.leg_open(place, END), left, back),
                )
                if all(any(a <= one and other <= b for a, b in own_spans) for own_spans, one, other in spans):
                    found[row] = own
                    break
                free.discard(own)
    return found
