"""What little would have to give way for a structure to get a hold: tried out, not guessed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from ...units import in_words
from .casting import find_holds
from .surroundings import Surroundings

if TYPE_CHECKING:
    from ...arrays import Flags, Floats, Geometries, Indices
    from .hold_rules import Setting


_QUARTERS: Final = 4
_LONGER_CAST: Final = 0.5  # at most half as long again
_SINGLE: Final = 1.5  # share of what cannot give way bit by bit: it comes after all that can


@dataclass(frozen=True)
class _Way:
    """One rule that gives way by an amount, from a little (1) to all that is tried; ``words`` tells what it means."""

    relax: Callable[[Setting, int], Setting]
    words: Callable[[int], str]
    amounts: int = _QUARTERS

    def share(self, amount: int) -> float:
        """How much of what is tried at most an amount is."""
        return amount / _QUARTERS if self.amounts > 1 else _SINGLE


def _bare(
    around: Surroundings, *, structures: bool = True, screens: bool = True, ways: bool = True
) -> Surroundings:
    """Leave some of what lies round about out of account."""
    n = len(around.structures) if structures else 0
    m = len(around.screens) if screens else 0
    return Surroundings(
        around.structures[:n],
        around.clear_m[:n],
        around.hazards,
        around.hazard_radius_m,
        around.screens[:m],
        around.screen_rows[:m],
        around.reachable if ways else None,
    )


def _ways(setting: Setting) -> list[_Way]:
    """List what can give way, given what was asked."""
    rules, around = setting.rules, setting.surroundings

    def length(metres: float) -> str:
        return in_words(metres, "length")

    def cast(amount: int) -> float:
        return rules.most_cast_m * (1 + _LONGER_CAST * amount / _QUARTERS)

    def rise(amount: int) -> float:
        return rules.margin_m * amount / _QUARTERS

    def drift(amount: int) -> float:
        return rules.drift_m * (1 - amount / _QUARTERS)

    def without(**left_out: bool) -> Callable[[Setting, int], Setting]:
        return lambda asked, _: replace(asked, surroundings=_bare(asked.surroundings, **left_out))

    def single(relax: Callable[[Setting, int], Setting], words: str) -> _Way:
        return _Way(relax, lambda _: words, 1)

    found = [
        _Way(
            lambda asked, k: replace(asked, rules=replace(rules, most_cast_m=cast(k))),
            lambda k: f"a cast of up to {length(cast(k))} would allow one",
        )
    ]
    if rules.margin_m > 0:
        found.append(
            _Way(
                lambda asked, k: replace(asked, level_m=asked.level_m + rise(k)),
                lambda k: f"{length(rise(k))} more water would allow one",
            )
        )
    if rules.drift_m > 0:
        found.append(
            _Way(
                lambda asked, k: replace(asked, rules=replace(rules, drift_m=drift(k))),
                lambda k: (
                    f"a boat that drifts no more than {length(drift(k))} could sit there"
                    if k < _QUARTERS
                    else "a boat that holds without any drift could sit there"
                ),
            )
        )
    if rules.wind_from_deg is not None and rules.upwind_factor < 1:
        found.append(
            single(
                lambda asked, _: replace(asked, rules=replace(rules, upwind_factor=1.0)),
                f"a cast of {length(rules.most_cast_m)} against the wind would allow one",
            )
        )
    found.append(single(without(structures=False), "only a place over or near another structure is left"))
    if len(around.screens):
        found.append(single(without(screens=False), "only a cast over tall cover is left"))
    if around.reachable is not None:
        found.append(single(without(ways=False), "only a place that no safe water leads to is left"))
    return found


def nearest_relaxations(
    structures: Geometries, setting: Setting, *, rows: Indices, bottom_m: Floats, height_m: Floats
) -> list[str]:
    """Name for each structure without a hold the least that would have to give way for one.

    Parameters
    ----------
    structures
        Structures without a hold.
    setting
        What they were asked for.
    rows
        Row of each among all structures of the plan.
    bottom_m, height_m
        As for `castshed.toolbox.water.holds.casting.find_holds`.

    Returns
    -------
    A clause each, empty where no rule alone can give way. Every clause was tried: with that rule relaxed by that much,
    and all others kept, the structure has a hold.

    Notes
    -----
    A longer cast (up to half as long again), more water (up to the margin) and a smaller drift circle are tried in
    quarters of that and compared by the number of quarters, the cast first among equals; what cannot give way bit by
    bit comes last. Hazards and closed zones are never given up.
    """
    said = [""] * len(structures)
    least = np.full(len(structures), np.inf)

    def holds(at: Indices, asked: Setting) -> Flags:
        found = find_holds(
            structures[at], asked, rows=rows[at], bottom_m=bottom_m[at], height_m=height_m[at]
        ).found
        return np.asarray(found)

    for way in _ways(setting):
        # From the most down: what the most does not help, less does not either.
        at = np.flatnonzero(least > way.share(1))
        amount = np.zeros(len(structures), dtype=np.intp)
        for tried in range(way.amounts, 0, -1):
            if not at.size:
                break
            at = at[holds(at, way.relax(setting, tried))]
            amount[at] = tried
        for row in np.flatnonzero(amount):
            share = way.share(int(amount[row]))
            if share < least[row]:
                least[row], said[row] = share, way.words(int(amount[row]))
    return said
