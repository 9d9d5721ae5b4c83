"""What people ask of a day plan: why not that stop, what to swap, what if the day were shorter, what is in the way.

Plan B: where to go instead of a stop of the plan.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from .day_basis import FIRST_HOLD
from .day_moves import insertions
from .day_search import best_day
from .day_task import END, FAR, START, merit, timed, visited
from .kept_hours import kept_walk

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from geopandas import GeoDataFrame

    from .day_basis import DayBasis
    from .day_moves import Routes
    from .day_task import DayTask
    from .kept_hours import KeptHours

_EVER: Final = 10**8


@dataclass(frozen=True)
class Missed:
    """Why a stop is not in the plan.

    Attributes
    ----------
    place
        The stop.
    adds_s
        Time it would add where it costs least, detour and stay, if the day were long enough; `FAR` where no window of
        it can be reached at all.
    detour_s
        The detour alone.
    worth
        Best worth of its offers.
    """

    place: int
    adds_s: int
    detour_s: int
    worth: int


@dataclass(frozen=True)
class Swap:
    """Put one stop in the place of another: worth gained, travel added."""

    out: int
    into: int
    worth: int
    travel_s: int


def spare_s(task: DayTask, routes: Routes) -> int:
    """Time left at the end of the longest day of a plan."""
    left = [task.over_s - found.over_s for route in routes if (found := timed(task, route)) is not None]
    return max(left, default=0)


def missed(task: DayTask, routes: Routes) -> list[Missed]:
    """Tell of each stop that is not in the plan what it would cost to add it."""
    taken = visited(task, routes)
    endless = replace(task, over_s=_EVER, fuel_limit_ml=FAR)
    found: list[Missed] = []
    for place, offers in sorted(task.offers_of.items()):
        if place in taken:
            continue
        able = offers[task.closes_s[offers] >= 0]
        best = Missed(place, FAR, FAR, int(task.worth[able].max(initial=0)))
        for route in routes if len(able) else []:
            _, cost = insertions(endless, route, able)
            adds = np.where(cost < FAR, cost + task.stay_s[able], FAR)
            least = int(np.argmin(adds))
            if adds[least] < best.adds_s:
                best = replace(best, adds_s=int(adds[least]), detour_s=int(cost[least]))
        found.append(best)
    return found


def swaps(task: DayTask, routes: Routes, *, most: int = 3) -> list[Swap]:
    """Find the best exchanges of one stop of the plan for one that is not in it, each stop named once."""
    taken = visited(task, routes)
    open_offers = np.flatnonzero(~np.isin(task.stop, sorted(taken)) & (task.closes_s >= 0))
    if not len(open_offers):
        return []
    found: list[Swap] = []
    for route in routes:
        now = timed(task, route)
        for at, offer in enumerate(route):
            if now is None or int(task.stop[offer]) in task.must:
                continue
            rest = route[:at] + route[at + 1 :]
            without = timed(task, rest)
            if without is None:
                continue
            _, cost = insertions(task, rest, open_offers)
            for k in np.flatnonzero(cost < FAR):
                into = int(open_offers[k])
                found.append(
                    Swap(
                        int(task.stop[offer]),
                        int(task.stop[into]),
                        int(task.worth[into] - task.worth[offer]),
                        int(without.travel_s + cost[k] - now.travel_s),
                    )
                )
    found.sort(key=lambda swap: (-swap.worth, swap.travel_s, swap.out, swap.into))
    chosen: list[Swap] = []
    for swap in found:
        named = {place for one in chosen for place in (one.out, one.into)}
        if swap.out not in named and swap.into not in named:
            chosen.append(swap)
        if len(chosen) == most:
            break
    return chosen


def _meets(task: DayTask, *, seed: int) -> bool:
    if task.over_s <= task.begin_s or task.travel_s[START, END] > task.over_s - task.begin_s:
        return False
    routes = best_day(task, seed=seed)
    return merit(task, routes)[0] == len(task.must)


def _relaxed(task: DayTask, rules: Sequence[str], kept: set[str]) -> DayTask:
    """Drop every rule that is not kept: ``hours``, ``fuel``, ``windows`` or ``must N``."""
    must = frozenset(place for place in task.must if f"must {place}" in kept)
    of_must = np.isin(task.stop, sorted(must))
    made = replace(task, must=must, closes_s=np.where(of_must, task.closes_s, -1))
    if "windows" in rules and "windows" not in kept:
        made = replace(
            made,
            opens_s=np.where(of_must, task.begin_s, made.opens_s),
            closes_s=np.where(of_must, _EVER, -1),
        )
    if "hours" not in kept:
        made = replace(made, over_s=_EVER)
    if "fuel" not in kept:
        made = replace(made, fuel_limit_ml=FAR)
    return made


def conflict(task: DayTask, *, seed: int = 0) -> list[str]:
    """Find a smallest set of rules that cannot hold together.

    Returns
    -------
    list
        Of ``hours``, ``fuel``, ``windows`` and ``must N`` (N a place): without any one of them the others can be kept.
        Empty where all must stops fit.
    """
    rules = ["windows", "fuel", "hours", *(f"must {place}" for place in sorted(task.must))]
    if _meets(_relaxed(task, rules, set(rules)), seed=seed):
        return []
    kept = set(rules)
    for rule in rules:  # what is not needed for the conflict goes
        if not _meets(_relaxed(task, rules, kept - {rule}), seed=seed):
            kept.discard(rule)
    return [rule for rule in rules if rule in kept]


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
    usual = plan_b(holds, taken, able, between)
    legs = {(FIRST_HOLD + row, FIRST_HOLD + own) for row, own in usual.items()}
    kept.learn(sorted({*legs, *((place, END) for _, place in legs)}))  # most are open; all at once is quicker
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
