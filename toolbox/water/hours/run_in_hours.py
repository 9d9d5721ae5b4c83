"""A shortest run set into its hours, kept, started later or chosen anew; and ways between places by the hour."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from ...errors import NothingFishable
from ...numbers import numbers_of
from ...text import how_many
from ..day.day_basis import FIRST_HOLD, DayBasis
from ..day.day_offers import Wishes, both
from ..day.day_task import END, EVER, START, DayHours, daylight
from ..day.kept_hours import first_fault, kept_walk, longer_legs
from ..light.sun import middle_of
from ..verdicts.leg_hours import LegHours, open_when
from ..ways.safe_water import union_of
from ..wind.forecast import read_hours
from ..wind.lake_winds import winds_of_hours
from .kept_day import best_kept_day, closed_words, mended, why_nothing
from .run_hours import (
    against_by_hour,
    clock,
    gap_words,
    hours_in_words,
    kept_of,
    lake_against,
    launch_times,
    night_words,
)
from .slowed_day import in_waves

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from geopandas import GeoDataFrame

    from ...depth import DepthSurface
    from ..day.day_moves import Routes
    from ..day.day_task import DayTask, Ints, Route
    from ..day.kept_hours import KeptHours
    from ..runs.run_frames import Clock
    from ..verdicts.leg_hours import LegLimits
    from ..verdicts.wave_speeds import WaveSpeeds
    from ..ways.passages import Passages
    from ..wind.lake_winds import LakeWinds


@dataclass(frozen=True)
class InHours:
    """A run in its hours.

    Attributes
    ----------
    order
        Rows of the ways in the order of the run, the ramps first and last.
    times
        Arrivals and departures; None where the run is as it was.
    left
        Why holds of the run as it was are left out, by their row.
    said
        What there is to say of it.
    longer_s
        Seconds that waves add to each leg; nothing where they add none.
    """

    order: Ints
    times: tuple[list[Clock], list[Clock]] | None
    left: Mapping[int, str]
    said: tuple[str, ...]
    longer_s: tuple[int, ...] = ()


@dataclass(frozen=True, eq=False)
class Asked:
    """What is asked of a run and its hours: see `shortest_run`, whose parameters these are."""

    begin: pd.Timestamp | None
    night: bool
    at_each_s: float
    at_most: int
    run_mps: float
    idle_mps: float
    limits: LegLimits
    verdicts: GeoDataFrame | None
    winds: LakeWinds | None
    water: GeoDataFrame
    depth: DepthSurface | None
    level_m: float
    launches: Mapping[int, Any]
    wave_speeds: WaveSpeeds | None = None


def _first_light(kept: KeptHours, hours: DayHours) -> KeptHours:
    """Keep the stretch of light the run begins in, or the next of the same day: nobody runs on through a night."""
    for begin, end in kept.light:
        if end > 0.0:
            same_day = begin <= 0.0 or hours.after(begin).date() == hours.begin.date()
            return replace(kept, light=[(begin, end)] if same_day else [], _open={}, _against={})
    return replace(kept, light=[], _open={}, _against={})


def _fewer(task: DayTask, route: Route, kept: KeptHours, most: int) -> Route:
    """Leave out the stops of least worth beyond the number wanted."""
    while most and len(route) > most:
        shorter = [route[:k] + route[k + 1 :] for k in range(len(route))]
        able = [one for one in shorter if kept_walk(task, one, kept)[0] is not None]
        if not able:
            return mended(task, route[:most], kept)
        route = max(able, key=lambda one: int(task.worth[list(one)].sum()))
    return route


def _basis(found: Passages, ramps: int, candidates: GeoDataFrame, asked: Asked, hours: DayHours) -> DayBasis:
    rating = (
        numbers_of(candidates["rating"], "holds.rating") if "rating" in candidates else pd.Series(dtype=float)
    )
    worth = 1.0 + rating.reindex(candidates.index).fillna(0.0).clip(lower=0.0).to_numpy(dtype=float)
    return DayBasis(
        ways=found,
        ramps=ramps,
        travel_s=launch_times(found.time_s, dict(asked.launches), asked.idle_mps, ramps - 1),
        burnt_l=np.zeros_like(found.time_s),
        fuel_l=None,
        spans=[],
        stays=[[(asked.at_each_s, 1.0)]] * len(candidates),
        setup_s=0.0,
        worth=worth,
        wishes=Wishes(frozenset(), frozenset(), (), None, {}),
        hours=hours,
        days=1,
    )


def _said(
    kept: KeptHours, hours: DayHours, asked: Asked, sun: Any, names: Sequence[str], order: Sequence[int],
    arrive: Sequence[float], leave: Sequence[float], times: tuple[float, float],
) -> list[str]:  # fmt: skip
    planned = [(names[at], arrive[k], leave[k]) for k, at in enumerate(order) if at >= FIRST_HOLD]
    told = gap_words(kept, hours, max(arrive[-1], times[1]), planned)
    if asked.night and (words := night_words(sun, *times, hours)):
        told.append(words)
    return told


def run_in_hours(
    found: Passages,
    order: Ints,
    times: tuple[list[Clock], list[Clock]],
    candidates: GeoDataFrame,
    ramps: int,
    asked: Asked,
    *,
    seed: int = 0,
) -> InHours:
    """Set a run into its hours.

    Parameters
    ----------
    found
        Ways between the ramps and all candidates.
    order
        The shortest run, rows of the ways.
    times
        Its arrivals and departures by the clock alone.
    candidates
        One hold a spot, with ``spot_id``, ``name`` and, where known, ``rating``.
    ramps
        How many of the ways' places are ramps.
    asked
        What is asked.
    seed
        Of the search.

    Returns
    -------
    InHours
        The run as it was where every hour of it is kept; else in the same order with a later start; else the run of
        greatest worth (each stop counts one and its rating) that the hours allow.

    Raises
    ------
    NothingFishable
        The hours allow no stop at all; the message tells which forbid it and by what.
    """
    begin = asked.begin if asked.begin is not None else pd.Timestamp(0, tz="UTC")
    hours = DayHours(begin, begin, begin + pd.Timedelta(days=1 if asked.begin is not None else 1000))
    here = middle_of(candidates.total_bounds, candidates.crs)
    sun = EVER if asked.begin is None else daylight(begin, 1, *here)
    ids = [str(spot) for spot in candidates["spot_id"]]
    kept = kept_of(
        found=found,
        first_hold=ramps,
        spots=ids,
        light=EVER if asked.night else sun,
        winds=asked.winds,
        verdicts=asked.verdicts,
        limits=asked.limits,
        water=asked.water,
        surface=asked.depth,
        level_m=asked.level_m,
        start=begin,
        speeds_mps=(asked.run_mps, asked.idle_mps),
        wave_speeds=asked.wave_speeds,
        until_s=86400.0,
    )
    basis = _basis(found, ramps, candidates, asked, hours)
    kept = replace(kept, places=basis.places())
    place = [START, *(int(row) - ramps + FIRST_HOLD for row in order[1:-1]), END]
    rows_of = {START: 0, END: ramps - 1} | {FIRST_HOLD + row: ramps + row for row in range(len(candidates))}
    names = ["", "", *candidates["name"].astype(str)]
    waved = in_waves(basis.with_spans([EVER] * len(ids)).task(hours.now), place, kept)
    place, longer = (place, ()) if waved is None else (waved.places, waved.longer_s)
    order = np.array([rows_of[at] for at in place], dtype=np.int64)
    if asked.begin is None:
        alone = [0.0] * len(order)
        kept.look_ahead(place)
        # Without a clock one wind blows all along; only whether each leg may be run at all is known.
        if all(kept.leg_open(a, b) for a, b in itertools.pairwise(place)):
            return InHours(
                order, None if waved is None else ([None] * len(order), [None] * len(order)), {}, (), longer
            )
        arrive_s = leave_s = alone
    else:
        if waved is not None:
            times = waved.clocks(hours)
        arrive_s, leave_s = (
            [0.0 if at is None else hours.seconds_to(at) for at in column] for column in times
        )
        if first_fault(kept, place, arrive_s, leave_s) is None:
            words = night_words(sun, leave_s[0], arrive_s[-1], hours) if asked.night else ""
            return InHours(order, None if waved is None else times, {}, (words,) if words else (), longer)
    kept = kept if asked.night or asked.begin is None else _first_light(kept, hours)
    lies = dict(kept.lies)
    if not (asked.night or asked.begin is None):
        lies = {row: both(spans, kept.light) for row, spans in lies.items()}
    kept = replace(kept, lies=lies, _open={}, _against={})
    basis = replace(basis, spans=[lies[ramps + row] for row in range(len(ids))])
    task = basis.task(hours.now)
    route = _same_order(task, place[1:-1], kept)
    routes: Routes = [route] if route else best_kept_day(task, kept, seed=seed)
    routes = [_fewer(task, routes[0], kept, asked.at_most)]
    reasons = {} if asked.verdicts is None else against_by_hour(asked.verdicts, begin)
    closed = closed_words(basis, kept, reasons, ids)
    timed, _ = kept_walk(task, routes[0], kept)
    if timed is None or not routes[0]:
        raise NothingFishable(
            f"No stop can be kept by the hours from {hours.begin:%Y-%m-%d %H:%M} on."
            f"{why_nothing(basis, task, kept, closed, names)} Leave at another hour, or look at the limits of wind and "
            "waves."
        )
    taken = {int(task.stop[offer]) for offer in routes[0]}
    left = {at - FIRST_HOLD: _why(at, task, kept, closed, hours) for at in place[1:-1] if at not in taken}
    over = (float(timed.leaves_s[0]), float(timed.over_s))
    said = _said(kept, hours, asked, sun, names, place, arrive_s, leave_s, over)
    if asked.begin is not None:
        everywhere = hours_in_words(
            lake_against(kept, 0.0, max(arrive_s[-1], over[1])), hours, 0.0, arrive_s[-1]
        )
        lost = f", {len(left)} of its {how_many(len(place) - 2, 'stop')} left out" if left else ""
        said.insert(
            0,
            f"The hours do not allow the run by the clock alone ({everywhere or 'see what is left out'}): it starts at "
            f"{clock(hours, over[0])} and is back at {clock(hours, over[1])}{lost}.",
        )
    rows = np.array(
        [0, *(int(task.stop[offer]) - FIRST_HOLD + ramps for offer in routes[0]), ramps - 1], dtype=np.int64
    )
    longer = tuple(longer_legs(kept, task.along(routes[0]), timed.leaves_s.tolist()))
    if asked.begin is None:
        return InHours(rows, ([None] * len(rows), [None] * len(rows)), left, tuple(said), longer)
    arrive: list[Clock] = [None, *(hours.after(at) for at in timed.begins_s), hours.after(timed.over_s)]
    leave: list[Clock] = [*(hours.after(at) for at in timed.leaves_s), None]
    return InHours(rows, (arrive, leave), left, tuple(said), longer)


def _same_order(task: DayTask, places: Sequence[int], kept: KeptHours) -> Route:
    """Time the stops in the order they have, each in the first window that allows it; empty where that is not kept."""
    route: Route = ()
    for place in places:
        for offer in task.offers_of.get(place, np.empty(0, dtype=np.int64)):
            if kept_walk(task, (*route, int(offer)), kept)[0] is not None:
                route = (*route, int(offer))
                break
        else:
            return ()
    return route


def _why(place: int, task: DayTask, kept: KeptHours, closed: Mapping[int, str], hours: DayHours) -> str:
    told = closed.get(place - FIRST_HOLD, "")
    if not told:
        told = hours_in_words(
            [*kept.seas_against(START, place), *kept.seas_against(place, END)],
            hours,
            task.begin_s,
            task.over_s,
        )
    return f"does not fit the hours{f': {told}' if told else ''}"


def ways_in_hours(
    lines: Sequence[Any],
    exposure: GeoDataFrame,
    limits: LegLimits,
    water: GeoDataFrame,
    surface: DepthSurface | None,
    level_m: float,
) -> dict[str, Any]:
    """Judge ways by the hours of a forecast.

    Parameters
    ----------
    lines
        The ways, each drawn from its first place to the other.
    exposure
        Wind by place and hour.
    limits
        What is held to.
    water, surface, level_m
        Today's water, and the depths that waves feel.

    Returns
    -------
    dict
        Columns: hours ``open_out_h`` and ``open_back_h`` of those told, and in words what forbids the others,
        ``against_out`` and ``against_back``.
    """
    told, _ = read_hours(exposure["time"].astype(str).tolist())
    start = pd.Timestamp(min(told.start))
    winds = winds_of_hours(exposure, start)
    judged = LegHours(winds, limits, union_of(water.geometry.to_numpy()), surface, level_m)
    end = max((over for _, over in winds.spans), default=0.0)
    hours = DayHours(start, start, start + pd.Timedelta(seconds=end))
    everywhere = judged.over_all()
    ways = {"out": list(lines), "back": [shapely.reverse(line) for line in lines]}
    found: dict[str, Any] = {}
    for name, own in ways.items():
        against = judged.seas_against(own)
        spans = [open_when([*everywhere, *one], winds.known) for one in against]
        found[f"open_{name}_h"] = np.array([sum(b - a for a, b in one) / 3600.0 for one in spans])
        words = [hours_in_words([*everywhere, *one], hours, 0.0, end) for one in against]
        found[f"against_{name}"] = np.array(words, dtype=object)
    return found
