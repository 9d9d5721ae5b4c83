"""The best day whose hours are kept on every leg as well; and what the hours do to it, in words.

A search knows windows of stops; which legs are shut is asked only of the legs it wants. Where one is, the search is
told so and asked again, for the whole day and for the stretches before and after what shut it: home before the gale,
or out when it is over. What comes back is timed by the hours themselves.
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from ...text import how_many
from ..day.day_basis import FIRST_HOLD
from ..day.day_moves import insertions
from ..day.day_search import WORK, best_day
from ..day.day_task import END, FAR, START, VALUE_STEP, timed, visited
from ..day.day_words import worth_of_routes
from ..day.kept_hours import kept_walk, longer_legs, turn_back_s
from .run_hours import clock, hours_in_words, lake_against
from .slowed_day import slowed_anywhere, slowed_day

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from ..day.day_basis import DayBasis
    from ..day.day_moves import Routes
    from ..day.day_task import DayTask, Route
    from ..day.day_words import Answer
    from ..day.kept_hours import KeptHours
    from ..verdicts.leg_hours import Against

_SEARCHES: Final = 12
_FEWER: Final = 4
_MANY_STOPS: Final = 60
_AGAIN: Final = 3
_TRIED: Final = 12


def kept_merit(task: DayTask, routes: Routes, kept: KeptHours) -> tuple[int, int, int]:
    """Rank routes that are kept: must stops, value, least travel; greater is better."""
    worth = travel = 0
    for route in routes:
        found, _ = kept_walk(task, route, kept)
        assert found is not None
        worth, travel = worth + found.worth, travel + found.travel_s
    return len(task.must & visited(task, routes)), worth, -travel


def _fuel_ml(task: DayTask, route: Route) -> int:
    return sum(int(task.fuel_ml[a, b]) for a, b in itertools.pairwise(task.along(route))) if route else 0


def mended(task: DayTask, route: Route, kept: KeptHours) -> Route:
    """Leave out stops until the hours of the rest are kept, those of least worth first."""
    while route:
        found, at = kept_walk(task, route, kept)
        if found is not None:
            return route
        shorter = [route[:k] + route[k + 1 :] for k in range(len(route))]
        able = [one for one in shorter if kept_walk(task, one, kept)[0] is not None]
        if able:
            return max(able, key=lambda one: int(task.worth[list(one)].sum()))
        gone = min(at, len(route) - 1)
        route = route[:gone] + route[gone + 1 :]
    return route


def _filled(task: DayTask, routes: Routes, kept: KeptHours) -> Routes:
    """Put in further stops where the hours allow it, the most worth for its time first."""
    made = list(routes)
    while True:
        taken = visited(task, made)
        left = np.flatnonzero(~np.isin(task.stop, sorted(taken)) & (task.closes_s >= 0))
        best: tuple[float, int, Route] | None = None
        for day, route in enumerate(made):
            if not len(left):
                break
            _, cost = insertions(replace(task, over_s=max(task.over_s, 0)), route, left)
            score = np.where(cost < FAR, task.worth[left] / (task.stay_s[left] + cost + 60.0), -1.0)
            score = np.where(np.isin(task.stop[left], sorted(task.must)) & (score >= 0), score + 1e9, score)
            for k in np.argsort(-score, kind="stable")[:_TRIED]:
                if score[k] < 0 or (best is not None and score[k] <= best[0]):
                    break
                for at in range(len(route) + 1):
                    tried = (*route[:at], int(left[k]), *route[at:])
                    if _fuel_ml(task, tried) > task.fuel_limit_ml:
                        continue
                    if kept_walk(task, tried, kept)[0] is not None:
                        best = float(score[k]), day, tried
                        break
        if best is None:
            return made
        made[best[1]] = best[2]


def _shut_legs(task: DayTask, routes: Routes, kept: KeptHours) -> list[tuple[int, int]]:
    """List the first leg of each route that can't be kept."""
    found: list[tuple[int, int]] = []
    for route in routes:
        times, k = kept_walk(task, route, kept)
        if times is None:
            places = task.along(route)
            found.append((places[k], places[k + 1]))
    return found


def _best_in_waves(
    task: DayTask, kept: KeptHours, routes: Routes, start: Routes | None, *, seed: int, work: int
) -> Routes:
    """Search a day in waves from the best of what is known: the calm day and the plan before, both mended."""
    met = sorted(visited(task, routes))
    kept.learn(leg for leg in itertools.product([START, *met], [*met, END]) if task.travel_s[leg] < FAR)
    known = [[mended(task, route, kept) for route in routes]]
    if start is not None:
        sound = [tuple(offer for offer in route if task.closes_s[offer] >= 0) for route in start]
        known.append([mended(task, route, kept) for route in sound])
    begin = max(known, key=lambda one: kept_merit(task, one, kept))
    found = slowed_day(task, kept, routes, begin, seed=seed, work=work)
    found = [mended(task, route, kept) for route in found]
    return max(begin, found, key=lambda one: kept_merit(task, one, kept))


def best_kept_day(
    task: DayTask,
    kept: KeptHours,
    *,
    seed: int = 0,
    work: int = WORK,
    start: Routes | None = None,
    progress: Any = None,
) -> Routes:
    """Find the best day whose stops, legs, waits and way home lie in hours that allow them.

    Parameters
    ----------
    task
        The day; windows of its stops hold already what the hours say of them.
    kept
        What the hours allow.
    seed
        Of the search.
    work, start
        How long is searched at first, and a plan to begin with.
    progress
        Told of the first search.

    Returns
    -------
    list
        Routes that are kept; where the search's own routes are, just those.
    """
    if kept.slowed is not None:  # a plan of calm water is but a beginning: half the work is enough for it
        calm = best_day(task, seed=seed, work=work // 2, start=start)
        if slowed_anywhere(task, kept, calm):
            if progress is not None:
                progress(1.0)
            return _best_in_waves(task, kept, calm, start, seed=seed, work=work)
    routes = best_day(task, seed=seed, work=work, start=start, progress=progress)
    if slowed_anywhere(task, kept, routes):
        return _best_in_waves(task, kept, routes, start, seed=seed, work=work)
    if not _shut_legs(task, routes, kept):
        return routes
    best: Routes = [()] * task.days
    best_merit = kept_merit(task, best, kept)

    def consider(found: Routes) -> None:
        nonlocal best, best_merit
        filled = _filled(task, [mended(task, route, kept) for route in found], kept)
        told = kept_merit(task, filled, kept)
        if told > best_merit:
            best, best_merit = filled, told

    left = _SEARCHES if len(task.offers_of) <= _MANY_STOPS else _FEWER
    queue = [(int(task.begin_s), int(task.over_s))]
    met = set(queue)
    while queue and left > 0:
        begin, over = queue.pop(0)
        part = replace(task, begin_s=begin, over_s=over)
        found = routes if (begin, over) == (task.begin_s, task.over_s) else None
        for again in range(_AGAIN):
            if found is None:
                found, left = best_day(part, seed=seed), left - 1
            bad = _shut_legs(part, found, kept)
            consider(found)
            if not bad or left <= 0:
                break
            for one, other in bad:
                opens = kept.leg_open(one, other)
                # Stretches of the day in which this leg is open all along, each a shorter day of its own.
                for a, b in opens:
                    block = int(max(begin, np.ceil(max(a, -1e9)))), int(min(over, np.floor(min(b, 1e9))))
                    if block[1] > block[0] and block not in met:
                        met.add(block)
                        queue.append(block)
            if again + 1 < _AGAIN:
                travel = part.travel_s.copy()
                for one, other in bad:
                    travel[one, other] = travel[other, one] = FAR
                part = replace(part, travel_s=travel)
                found = None
    return best


_NAMED: Final = 3


def closed_words(
    basis: DayBasis, kept: KeptHours, reasons: Mapping[str, list[Against]], ids: Sequence[str]
) -> dict[int, str]:
    """Say of each hold, by its row, which hours of the day forbid it and by what; holds open all day have no words."""
    begin, over = basis.hours.seconds_to(basis.hours.now), basis.hours.seconds_to(basis.hours.over)
    everywhere = lake_against(kept, begin, over)
    found: dict[int, str] = {}
    for row, spot in enumerate(ids):
        own = reasons.get(spot)
        words = hours_in_words([*(own or []), *everywhere], basis.hours, begin, over)
        if words:
            found[row] = words
    return found


def planned_by_clock(task: DayTask, routes: Routes, names: Sequence[str]) -> list[tuple[str, float, float]]:
    """List name, begin and end of the stops of a plan that asks for no hours."""
    told: list[tuple[str, float, float]] = []
    for route in routes:
        times = timed(task, route) if route else None
        if times is not None:
            told += [
                (names[int(task.stop[offer])], float(at), float(at + task.stay_s[offer]))
                for offer, at in zip(route, times.begins_s.tolist(), strict=True)
            ]
    return told


def hours_cost(
    task: DayTask, routes: Routes, free: DayTask, clocked: Routes, names: Sequence[str]
) -> list[Answer]:
    """Say what light, wind and waves cost against a plan by the clock alone; nothing where they cost nothing."""
    here, there = visited(task, routes), visited(free, clocked)
    lost = worth_of_routes(free, clocked) - worth_of_routes(task, routes)
    if lost <= 0 and len(here) >= len(there):
        return []
    fewer = len(there) - len(here)
    gone = sorted(there - here)
    count = f"{how_many(fewer, 'stop')} less" if fewer > 0 else "as many stops" if not fewer else "more stops"
    named = ", ".join(names[place] for place in gone[:_NAMED]) + (" and more" if len(gone) > _NAMED else "")
    return [
        (
            "what the hours cost",
            f"{count} than by the clock alone{f', without {named}' if gone else ''}; worth {-lost * VALUE_STEP:+.2g}",
        )
    ]


def waves_cost(task: DayTask, routes: Routes, kept: KeptHours) -> list[Answer]:
    """Say how much longer waves make the ways of a plan, and which most; nothing where they slow nobody."""
    legs: list[tuple[int, int, int]] = []
    for route in routes:
        times, _ = kept_walk(task, route, kept) if route else (None, 0)
        if times is not None:
            order = task.along(route)
            longer = longer_legs(kept, order, times.leaves_s.tolist())
            calm = [int(task.travel_s[one, other]) for one, other in itertools.pairwise(order)]
            legs += [
                (more, usual, number)
                for number, (more, usual) in enumerate(zip(longer, calm, strict=True), 1)
            ]
    total = sum(more for more, _, _ in legs)
    if total < 60:
        return []
    more, usual, number = max(legs)
    most = f"leg {number} the most, {-(-(usual + more) // 60)} min in place of {-(-usual // 60)}"
    return [("what the waves cost", f"{round(total / 60)} min more on the way than in calm water; {most}")]


def turn_home(
    basis: DayBasis, task: DayTask, routes: Routes, kept: KeptHours, names: Sequence[str]
) -> list[Answer]:
    """Say when the last stop of each day has to be left, and what shuts the way home after that."""
    told: list[Answer] = []
    for day, route in enumerate(routes, 1):
        place = int(task.stop[route[-1]]) if route else START
        late = turn_back_s(task, place, kept) if route else None
        if late is None:
            continue
        takes = int(task.travel_s[place, END]) + kept.longer_s(place, END, late)
        over = float(task.over_s)
        against = [
            one
            for one in (*kept.seas_against(place, END), *lake_against(kept, float(late), over))
            if late < one.end_s and one.begin_s < over
        ]
        words = hours_in_words(against, basis.hours, float(late), over)
        numbered = f" {day}" if task.days > 1 else ""
        told.append(
            (
                f"turn home{numbered}",
                f"leave {names[place]} by {clock(basis.hours, late)} at the latest, {-(-takes // 60)} min from the end"
                + (f"; then {words}" if words else ""),
            )
        )
    return told


def afloat_between(task: DayTask, routes: Routes, kept: KeptHours) -> tuple[float, float]:
    """Tell when the first boat leaves the ramp and the last is back."""
    times = [found for route in routes if route and (found := kept_walk(task, route, kept)[0]) is not None]
    if not times:
        return 0.0, 0.0
    return float(min(one.leaves_s[0] for one in times)), float(max(one.over_s for one in times))


def why_nothing(
    basis: DayBasis, task: DayTask, kept: KeptHours, closed: Mapping[int, str], names: Sequence[str]
) -> str:
    """Say which hours forbid the lake, or else the stops and the ways to them, when there is no plan."""
    begin, over = float(task.begin_s), float(task.over_s)
    everywhere = hours_in_words(lake_against(kept, begin, over), basis.hours, begin, over)
    told = [f"Everywhere: {everywhere}."] if everywhere else []
    told += [
        f"{names[FIRST_HOLD + row]}: {closed[row]}."
        for row in sorted(closed)[:_NAMED]
        if closed[row] != everywhere
    ]
    if kept.legs is not None:
        for place in sorted({int(one) for one in task.stop})[:_NAMED]:
            if task.travel_s[START, place] >= FAR:
                continue
            words = hours_in_words(kept.seas_against(START, place), basis.hours, begin, over)
            if words:
                told.append(f"The way to {names[place]}: {words}.")
    return f" {' '.join(told)}" if told else ""
