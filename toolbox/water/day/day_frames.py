"""Layers of a day plan: stops with times, legs, what is left out, and answers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd

from ..runs.run import pieces_of, require_clear
from ..runs.run_frames import left_out_frame, legs_frame, stops_frame, with_waves
from .day_basis import FIRST_HOLD
from .day_task import VALUE_STEP
from .kept_hours import kept_walk, longer_legs, turn_back_s

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from ..runs.afloat import Afloat
    from ..runs.run import LegSurroundings
    from .day_basis import DayBasis
    from .day_moves import Routes
    from .day_task import DayTask, Route
    from .day_words import Answer
    from .kept_hours import KeptHours


def _joined(frames: Iterable[gpd.GeoDataFrame], crs: Any) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(pd.concat(frames, ignore_index=True), geometry="geometry", crs=crs)


def _stops_of_route(
    basis: DayBasis,
    task: DayTask,
    route: Route,
    places: gpd.GeoDataFrame,
    instead: Mapping[int, int],
    kept: KeptHours,
) -> gpd.GeoDataFrame:
    hours, offers = basis.hours, np.array(route)
    clock, _ = kept_walk(task, route, kept)
    assert clock is not None  # no search hands back a route that breaks a rule
    at, stay_s = task.stop[offers], task.stay_s[offers]
    turn_back = [turn_back_s(task, int(place), kept) for place in at]
    second = [instead.get(int(place) - FIRST_HOLD) for place in at]
    plan_b = ["" if row is None else str(places["spot_id"].iloc[basis.ramps + row]) for row in second]
    return stops_frame(
        places,
        basis.order(task, route),
        basis.ramps,
        (
            [None, *map(hours.after, clock.begins_s), hours.after(clock.over_s)],
            [*map(hours.after, clock.leaves_s), None],
        ),
        {
            "stay_s": [0.0, *stay_s.astype(float), 0.0],
            "worth": [0.0, *(task.worth[offers] * VALUE_STEP), 0.0],
            "turn_back": np.array(
                [
                    "",
                    *(
                        "" if one is None else hours.after(one).isoformat(timespec="seconds")
                        for one in turn_back
                    ),
                    "",
                ],
                dtype=object,
            ),
            "plan_b": np.array(["", *plan_b, ""], dtype=object),
        },
    )


def day_stops(
    basis: DayBasis,
    task: DayTask,
    routes: Routes,
    places: gpd.GeoDataFrame,
    instead: Mapping[int, int],
    crs: Any,
    kept: KeptHours,
) -> gpd.GeoDataFrame:
    """Make the layer ``stops`` of all days, each from ramp to ramp; a day without a stop has no rows.

    Parameters
    ----------
    basis, task, routes
        What the day is planned from, the task it is, and its plan.
    places
        Ramps, then holds.
    instead
        Row of the hold to go to instead of another, by its row.
    crs
        Reference system.
    kept
        The hours that its times keep.
    """
    frames = []
    for number, route in enumerate(routes, start=1):
        if route:
            stops = _stops_of_route(basis, task, route, places, instead, kept)
            stops.insert(stops.columns.get_loc("stay_s"), "day", number)
            frames.append(stops)
    return _joined(frames, crs)


def day_legs(
    basis: DayBasis,
    task: DayTask,
    routes: Routes,
    places: gpd.GeoDataFrame,
    afloat: Afloat,
    around: LegSurroundings,
    crs: Any,
    kept: KeptHours,
) -> gpd.GeoDataFrame:
    """Make the layer ``legs`` of all days, with their times in the waves of their hour.

    Parameters
    ----------
    basis, task, routes
        What the day is planned from, the task it is, and its plan.
    places
        Ramps, then holds.
    afloat
        The boat and its launches.
    around
        What the legs are measured against.
    crs
        Reference system.
    kept
        The hours that its times keep.
    """
    ids, launches, boat = places["spot_id"].to_list(), afloat.launches(), afloat.handling
    frames = []
    for number, route in enumerate(routes, start=1):
        if route:
            pieces = pieces_of(basis.ways, basis.order(task, route), launches)
            require_clear([(piece.part, piece.line) for piece in pieces], afloat)
            legs = legs_frame(pieces, ids, around, boat.run_speed_mps, boat.idle_speed_mps, crs)
            clock, _ = kept_walk(task, route, kept)
            assert clock is not None
            longer = longer_legs(kept, task.along(route), clock.leaves_s.tolist())
            frames.append(with_waves(legs, longer).assign(day=number))
    return _joined(frames, crs)


def day_left_out(
    holds: gpd.GeoDataFrame, why: Mapping[int, str], none: gpd.GeoDataFrame, crs: Any
) -> gpd.GeoDataFrame:
    """Make the layer ``left_out``.

    Parameters
    ----------
    holds, why
        One hold a spot, and the reason by row of each that is left out.
    none
        Rows of holds that are of no use, with their ``reason``.
    crs
        Reference system.
    """
    left = pd.concat(
        [
            left_out_frame(holds, list(why), list(why.values())),
            left_out_frame(none, range(len(none)), [f"no hold: {words}" for words in none["reason"]]),
        ],
        ignore_index=True,
    )
    return gpd.GeoDataFrame(left, geometry=left.geometry.name, crs=crs)


def answers_frame(told: Sequence[Answer], at: Any, crs: Any) -> gpd.GeoDataFrame:
    """Make the layer ``answers``: questions and answers, all at one point."""
    return gpd.GeoDataFrame(
        {
            "question": np.array([question for question, _ in told], dtype=object),
            "answer": np.array([answer for _, answer in told], dtype=object),
        },
        geometry=[at] * len(told),
        crs=crs,
    )
