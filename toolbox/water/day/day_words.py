"""A day plan in words: what half an hour and a swap would change, what it is worth, why a spot is left out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from ...text import how_many
from ...units import GALLON_L
from ..light.sun import is_light, sun_at, sun_times
from .day_answers import conflict, missed, spare_s, swaps
from .day_basis import FIRST_HOLD
from .day_bound import most_worth
from .day_task import FAR, VALUE_STEP, merit, timed, visited

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    import pandas as pd

    from .day_basis import DayBasis
    from .day_moves import Routes
    from .day_task import DayHours, DayTask

Answer = tuple[str, str]
"""A question and its answer."""

HALF_HOUR_S: Final = 1800
"""What is tried of an earlier or a later end, and of an earlier start."""


def worth_of_routes(task: DayTask, routes: Routes) -> int:
    """Sum up the worth of all stops of some routes."""
    return sum(int(task.worth[list(route)].sum()) for route in routes if route)


def _minutes(seconds: int) -> str:
    return f"{-(-seconds // 60)} min"


def half_an_hour(
    task: DayTask, routes: Routes, names: Sequence[str], less: Routes, more: Routes
) -> list[Answer]:
    """Say what half an hour less and half an hour more would change.

    Parameters
    ----------
    task, routes
        The day and its plan.
    names
        Name of each place of the task.
    less, more
        Plans of the day that is over half an hour before, and after.
    """
    taken, worth = visited(task, routes), worth_of_routes(task, routes)
    told: list[Answer] = []
    for sign, other in (("less", less), ("more", more)):
        there = visited(task, other)
        lost, won = sorted(taken - there), sorted(there - taken)
        words = [f"without {', '.join(names[k] for k in lost)}"] if lost else []
        words += [f"with {', '.join(names[k] for k in won)}"] if won else []
        change = (worth_of_routes(task, other) - worth) * VALUE_STEP
        told.append(
            (f"30 minutes {sign}", f"{'; '.join(words) or 'the same stops'}; worth {change:+.2g} to the day")
        )
    return told


def one_more(
    taken: Collection[int], names: Sequence[str], tried: Mapping[str, Collection[int]]
) -> list[Answer]:
    """Say what would buy one more stop, of what was tried by planning the day again.

    Parameters
    ----------
    taken
        Places of the plan.
    names
        Name of each place.
    tried
        In words, what was changed, with the places of the plan it gave.
    """
    buys: list[str] = []
    for words, there in tried.items():
        won, lost = (
            ", ".join(names[place] for place in sorted(set(these) - set(those)))
            for these, those in ((there, taken), (taken, there))
        )
        if len(there) > len(taken):
            more = how_many(len(there) - len(taken), "stop")
            buys.append(f"{words}: {more} more, with {won}{f', without {lost}' if lost else ''}")
    none = [words for words, there in tried.items() if len(there) <= len(taken)]
    if not buys:
        return [("one more stop", f"is bought by none of these: {'; '.join(none)}")] if none else []
    return [("one more stop", "; ".join([*buys, *(f"{words}: none" for words in none)]))]


def best_swaps(task: DayTask, routes: Routes, names: Sequence[str]) -> list[Answer]:
    """Say which exchanges of one stop for another would be the best."""
    told: list[Answer] = []
    for order, swap in enumerate(swaps(task, routes), start=1):
        travel = f"{abs(swap.travel_s) / 60:.0f} min {'more' if swap.travel_s >= 0 else 'less'} travel"
        worth = f"{swap.worth * VALUE_STEP:+.2g}"
        told.append((f"swap {order}", f"{names[swap.into]} for {names[swap.out]}: worth {worth}, {travel}"))
    return told


def already_done(basis: DayBasis, names: Sequence[str]) -> list[Answer]:
    """Say which stops are done, where any is."""
    return [("done", ", ".join(names[FIRST_HOLD + row] for row in basis.done))] if basis.done else []


def worth_and_fuel(task: DayTask, routes: Routes, *, burns: bool) -> list[Answer]:
    """Say what the whole plan is worth and, where the engine burns any, the fuel for its ways."""
    found = [one for route in routes if route and (one := timed(task, route)) is not None]
    told = [("worth", f"{sum(one.worth for one in found) * VALUE_STEP:.4g}")]
    litres = sum(one.fuel_ml for one in found) / 1000.0
    return [*told, ("fuel", f"{litres:.0f} L ({litres / GALLON_L:.1f} gal) for the ways")] if burns else told


def how_near_the_best(task: DayTask, routes: Routes) -> list[Answer]:
    """Say how far a plan can be from the best there is at most."""
    worth, bound = merit(task, routes)[1], most_worth(task, routes)
    if bound <= worth:
        return [("best possible", "no plan of this day is worth more")]
    below = f"{100.0 * (bound - worth) / bound:.2g} % below the best there is"
    most = f"no plan of this day is worth more than {bound * VALUE_STEP:.4g}"
    return [("best possible", f"{most}: this one is at most {below}")]


def sun_of_day(start: pd.Timestamp, latitude_deg: float, longitude_deg: float) -> list[Answer]:
    """Say when it gets light and dark on a day, and where the low sun stands as it rises and sets.

    Parameters
    ----------
    start
        A moment of the day, with its zone.
    latitude_deg, longitude_deg
        Place, north and east positive.
    """
    here = latitude_deg, longitude_deg
    zone = start.tzinfo
    assert zone is not None  # clock_of refuses times without
    sun = sun_times(start.date(), zone, *here)
    told: list[Answer] = []
    if sun.dawn is None and sun.dusk is None:
        told.append(("sun", "it is light all day" if is_light(sun.noon, *here) else "it is dark all day"))
    for word in ("dawn", "rise", "set", "dusk"):
        moment = getattr(sun, word)
        if moment is not None:
            low = f", at {sun_at(moment, *here).bearing_deg:03.0f} deg" if word in ("rise", "set") else ""
            told.append((f"sun {word}", f"{moment:%H:%M}{low}"))
    return told


def _cost_of_adding(task: DayTask, routes: Routes) -> dict[int, str]:
    """Say of each place that could be visited and is not what adding it would cost."""
    spare = _minutes(spare_s(task, routes))
    return {
        one.place: "no window of it can be reached in the order of the day"
        if one.adds_s >= FAR
        else f"worth {one.worth * VALUE_STEP:.2g}; adding it would take {_minutes(one.adds_s)} "
        f"({_minutes(one.detour_s)} of it detour), the day has {spare} to spare"
        for one in missed(task, routes)
    }


def why_left_out(basis: DayBasis, task: DayTask, routes: Routes, closed: Mapping[int, str]) -> dict[int, str]:
    """Say of each hold that is not in the plan why, by its row; `closed` has the hours that forbid it, in words."""
    cost, reachable = _cost_of_adding(task, routes), basis.reachable()
    met = visited(task, routes)

    def why(row: int) -> str:
        if row in basis.done:
            return "done"
        if row in basis.wishes.never:
            return "not wanted"
        if not reachable[row]:
            return f"out of reach: {basis.ways.reason[basis.ramps + row] or 'no way leads there and back'}"
        if not basis.spans[row]:
            return f"no hour of the day allows it{f': {closed[row]}' if closed.get(row) else ''}"
        words = cost.get(FIRST_HOLD + row, "does not fit")
        return f"{words}; not open {closed[row]}" if closed.get(row) else words

    return {row: why(row) for row in range(len(basis.spans)) if FIRST_HOLD + row not in met}


def why_no_day(
    task: DayTask, routes: Routes, hours: DayHours, names: Sequence[str], *, seed: int
) -> str | None:
    """Say why a plan is none: a stop that has to be in it is not, or there is no stop at all; None for a good one.

    Parameters
    ----------
    task, routes
        The day and its plan.
    hours
        Its hours, for the words.
    names
        Name of each place of the task.
    seed
        Of the search for the smallest set of rules in conflict.
    """
    met = visited(task, routes)
    if task.must - met:
        lost = [names[place] for place in sorted(task.must - set(task.offers_of))]
        said = f"{', '.join(lost)} can't be reached or has no window" if lost else ""
        rules = {
            "hours": f"back by {hours.over:%H:%M}",
            "fuel": "the fuel reserve",
            "windows": "the windows of those stops",
            **{f"must {place}": f"stop at {names[place]}" for place in task.must},
        }
        said = (
            said or "; ".join(rules[rule] for rule in conflict(task, seed=seed)) or "the hours forbid a leg"
        )
        return f"What must be does not fit together: {said}. Give up one of them."
    if not met:
        return (
            f"No stop fits between {hours.now:%H:%M} and {hours.over:%H:%M}. "
            "Look at hours, windows, stay and fuel."
        )
    return None
