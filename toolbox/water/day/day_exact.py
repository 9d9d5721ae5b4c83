"""The best day of all, for few stops: every set and order that can still be best is kept (dynamic programming)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from .day_task import END, FAR, START, Route, timed

if TYPE_CHECKING:
    from .day_task import DayTask

MOST_STOPS: Final = 10
_Label = tuple[int, int, int, int, Route]  # clock, fuel, -worth, travel, offers so far


def _kept(labels: list[_Label]) -> list[_Label]:
    """Drop labels that another one beats in clock, fuel, worth and travel alike."""
    found: list[_Label] = []
    for label in sorted(labels, key=lambda one: one[:4]):
        if not any(all(a <= b for a, b in zip(one[:4], label[:4], strict=True)) for one in found):
            found.append(label)
    return found


def exact_day(task: DayTask) -> Route:
    """Find the best route of one day.

    Parameters
    ----------
    task
        A day with at most `MOST_STOPS` stops on offer.

    Returns
    -------
    tuple
        Offers in order: most must stops, then most value, then least travel; empty where nothing fits.
    """
    stops = [stop for stop in sorted(task.offers_of) if (task.closes_s[task.offers_of[stop]] >= 0).any()]
    travel, fuel = task.travel_s.tolist(), task.fuel_ml.tolist()
    offers = {
        stop: [
            (
                int(o),
                int(task.stay_s[o]),
                int(task.opens_s[o]),
                int(task.closes_s[o]),
                int(task.worth[o]),
            )
            for o in task.offers_of[stop]
            if task.closes_s[o] >= 0
        ]
        for stop in stops
    }
    layer: dict[tuple[int, int], list[_Label]] = {(0, START): [(task.begin_s, 0, 0, 0, ())]}
    best: tuple[int, int, int, Route] = (0, 0, 0, ())
    must = [k for k, stop in enumerate(stops) if stop in task.must]
    while layer:
        onward: dict[tuple[int, int], list[_Label]] = {}
        for (chosen, at), labels in layer.items():
            for k, stop in enumerate(stops):
                step = travel[at][stop]
                if chosen >> k & 1 or step >= FAR:
                    continue
                home, fuel_home = travel[stop][END], fuel[stop][END]
                for clock, burnt, lost, gone, route in labels:
                    used = burnt + fuel[at][stop]
                    if used + fuel_home > task.fuel_limit_ml:
                        continue
                    for offer, stay, opens, closes, worth in offers[stop]:
                        over = max(clock + step, opens) + stay
                        if over <= closes and over + home <= task.over_s:
                            made = (over, used, lost - worth, gone + step, (*route, offer))
                            onward.setdefault((chosen | 1 << k, stop), []).append(made)
        layer = {state: _kept(labels) for state, labels in onward.items()}
        for (chosen, at), labels in layer.items():
            met = sum(chosen >> k & 1 for k in must)
            for label in labels:
                told = (met, -label[2], -(label[3] + travel[at][END]), label[4])
                if told[:3] > best[:3]:
                    best = told
    assert timed(task, best[3]) is not None
    return best[3]
