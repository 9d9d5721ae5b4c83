"""Say in words why a hold lies where it does, or why there is none and what little would allow one.

What little would have to give way for a structure to get a hold: tried out, not guessed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from ...units import FOOT_M, in_words
from .casting import find_holds
from .hold_rules import OVER_OTHER, RULES
from .surroundings import Surroundings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ...arrays import Flags, Floats, Geometries, Indices
    from .hold_rules import HoldRules, Setting
    from .hold_tables import Found

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


_ALL_SIDES: Final = (
    0.9  # share of the directions that fall; what is hidden by land or by a gap in the data counts not
)
_FAR_OFF_DEG: Final = 45.0  # off the deep side by more than wind alone turns the hold of a point


def _length(metres: float) -> str:
    digits = 1 if abs(metres) >= 0.095 else 2
    return f"{metres:.{digits}f} m ({metres / FOOT_M:.1f} ft)"


def _without_deep_side(found: Found, row: int, error_m: float) -> str:
    """Say how the bottom lies where no side is clearly the deep one: a hump's top is no level ground."""
    if found.falling_share[row] >= _ALL_SIDES:
        return "falls away on all sides"
    if found.relief_m[row] <= 2 * error_m:  # a depth too great by the error beside one too small by it
        return "level ground, no deep side"
    return "uneven, no side is clearly the deep one"


def _why_here(found: Found, row: int, rules: HoldRules, error_m: float) -> str:
    deep = found.deep_bearing_deg[row]
    if np.isnan(deep):
        wind = rules.wind_from_deg is not None
        rest = "the wind decides" if wind else "no wind given, so any side serves"
        return f"{_without_deep_side(found, row, error_m)}: {rest}"
    words = f"deep side {deep:.0f} deg, {_length(found.fall_m[row])} deeper one cast off"
    off = _off_deep_deg(found, row)
    if off > _FAR_OFF_DEG:
        return f"{words}; held {off:.0f} deg off it, the best place that keeps all rules"
    return words


def _why_further(found: Found, row: int) -> str:
    deep = found.deep_bearing_deg[row]
    if np.isnan(deep):
        return "another side; no side is clearly the deep one"
    return f"another side: {_off_deep_deg(found, row):.0f} deg off the deep side, which is {deep:.0f} deg"


def _off_deep_deg(found: Found, row: int) -> float:
    gap = found.cast_bearing_deg[row] + 180.0 - found.deep_bearing_deg[row]
    return float(abs((gap + 180.0) % 360.0 - 180.0))


def _vague(found: Found, row: int, rules: HoldRules, search_m: Floats) -> str:
    """Warn where the spot may as well lie under the boat."""
    if search_m[row] + rules.drift_m <= found.cast_m[row]:
        return ""
    return f"; the marks are good to {_length(search_m[row])} only: look for the spot on the sounder first"


def _why_none(found: Found, row: int, need_m: float, neighbour: str) -> str:
    aim_m, seen_m = found.aim_depth_m[row], found.seen_depth_m[row]
    if np.isnan(aim_m):
        return "no depth is known at the structure"
    if -0.005 < aim_m <= 0:
        return "dry today: at the very edge of the water"
    if aim_m <= 0:
        return f"dry today: the water would have to rise {_length(-aim_m)} to reach it"
    if np.isnan(seen_m):
        return "no open water in line of cast: land, dry ground or unknown depth all round"
    if seen_m < need_m:
        return f"too thin all round: {_length(seen_m)} is the deepest within a cast and {_length(need_m)} is needed"
    counts = found.alone[row] if found.alone[row].any() else found.broken[row]
    rule = 1 << int(counts.argmax())
    words = RULES[rule]
    if rule == OVER_OTHER and neighbour:
        words = f"another structure ({neighbour}) is too near"
    others = [
        RULES[1 << number] for number in np.flatnonzero(found.broken[row]).tolist() if 1 << number != rule
    ]
    return f"no place within a cast keeps all rules: mostly {words}" + (
        f"; elsewhere {' and '.join(others)}" if others else ""
    )


def hold_reasons(
    found: Found,
    structures: Geometries,
    setting: Setting,
    *,
    names: Sequence[str],
    bottom_m: Floats,
    height_m: Floats,
    search_m: Floats,
) -> list[str]:
    """Give the reason for each hold, and for each structure without one.

    Parameters
    ----------
    found
        What `find_holds` gave for the structures.
    structures, setting, bottom_m, height_m
        What it was asked.
    names
        Ids of the structures, to name a neighbour.
    search_m
        How far off the marks of structure and boat may lie together.

    Returns
    -------
    One sentence a structure. Where there is no hold, it names the rule most places break and, when there is
    one, the nearest relaxation of a single rule that would allow a hold (`relaxations`).
    """
    rules = setting.rules
    said = [
        _why_here(found, row, rules, setting.surface.error_m) + _vague(found, row, rules, search_m)
        if found.found[row]
        else ""
        for row in range(len(structures))
    ]
    none = np.flatnonzero(~found.found)
    if not none.size:
        return said
    wet = none[found.aim_depth_m[none] > 0]
    allowed = dict(
        zip(
            wet.tolist(),
            nearest_relaxations(
                structures[wet], setting, rows=wet, bottom_m=bottom_m[wet], height_m=height_m[wet]
            ),
            strict=True,
        )
    )
    crowded = found.broken[:, OVER_OTHER.bit_length() - 1] > 0
    for row in none.tolist():
        other = setting.surroundings.nearest_other(row) if crowded[row] else -1
        near = str(names[other]) if other >= 0 else ""
        words = _why_none(found, row, setting.need_m, near)
        said[row] = f"{words}; {allowed[row]}" if allowed.get(row) else words
    return said


def further_reasons(found: Found, setting: Setting, search_m: Floats) -> list[str]:
    """Give the reason for each second or further hold; empty text where there is none.

    Parameters
    ----------
    found
        A table of `castshed.toolbox.water.holds.casting.find_holds_apart` but the first.
    setting, search_m
        As for `hold_reasons`.
    """
    rules = setting.rules
    return [
        _why_further(found, row) + _vague(found, row, rules, search_m) if ok else ""
        for row, ok in enumerate(found.found.tolist())
    ]
