"""What the hours do to a day, in words: what they forbid, what they cost, and why nothing is left."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Final

from ...text import how_many
from ..day.day_basis import FIRST_HOLD
from ..day.day_task import FAR, START, VALUE_STEP, timed, visited
from ..day.day_words import worth_of_routes
from ..day.kept_hours import kept_walk, longer_legs
from .hour_words import hours_in_words, lake_against

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from ..day.day_basis import DayBasis
    from ..day.day_moves import Routes
    from ..day.day_task import DayTask
    from ..day.day_words import Answer
    from ..day.kept_hours import KeptHours
    from ..verdicts.leg_hours import Against

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
