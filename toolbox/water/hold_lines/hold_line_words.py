"""Say in words why a hold line lies where it does, and why a structure has none."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from ...units import FOOT_M
from ..holds.hold_rules import THIN
from .line_rules import BREAKS, ENDS, OTHER_SIDE, TOO_FAR
from .side_depths import BOTH

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ...arrays import Floats, Geometries, Indices
    from ..holds.hold_rules import Setting
    from .line_marks import Marks
    from .side_depths import Sides


_POINTS: Final = (0, 4)  # geometry types, as shapely counts them
_AREAS: Final = (3, 6)


def _length(metres: float) -> str:
    return f"{metres:.1f} m ({metres / FOOT_M:.1f} ft)"


def why_here(
    sides: Sides,
    station: Indices,
    deep_bearing_deg: float,
    *,
    area: bool,
    wind_from_deg: float | None,
    wind_angle_deg: float,
) -> str:
    """Say which side a line was drawn on and why, and what decided its direction."""
    clear = sides.clear[station]
    if (sides.deep[station] == BOTH).all():
        decides = "the longer side" if wind_from_deg is None else "the wind and the longer side decide"
        side = "level ground, no deep side: " + ("all round" if area else decides)
    elif sides.lonely[station][clear].all() and clear.any():
        side = "the only side with water that is known"
    else:
        fall = float(np.median(np.abs(sides.fall_m[station][clear if clear.any() else slice(None)])))
        than = "than the edge" if area else "than the other side"
        where = "deep all round" if np.isnan(deep_bearing_deg) else f"deep side {deep_bearing_deg:.0f} deg"
        side = f"{where}, {_length(fall)} deeper {than} one cast off"
    if wind_from_deg is None:
        return f"{side}; no wind given, direction as drawn"
    if np.isnan(wind_angle_deg):
        return f"{side}; all the way round, either direction serves"
    if 80.0 < wind_angle_deg < 100.0:
        return f"{side}; wind across the line, either direction serves"
    return f"{side}; " + (
        "bow into the wind" if wind_angle_deg <= 80.0 else "before the wind, as its other pieces"
    )


def _why(kind: int, mine: Marks, live: Indices, setting: Setting, follow_m: float | None) -> str:
    if kind in _POINTS:
        return "a point has no line beside it; boat-hold places the boat for it"
    if not live.size:
        if follow_m is not None:
            return (
                f"the {_length(follow_m)} isobath of today does not pass within a cast of it on its deep side"
            )
        return (
            "it lies in a hollow: the water round it is shallower than its edge on every side"
            if kind in _AREAS
            else "no water lies a cast off it on its deep side"
        )
    broken = mine.broken[live]
    counts = {rule: int(np.count_nonzero(broken & rule)) for rule in BREAKS}
    rule = max(counts, key=lambda one: counts[one])
    if rule == THIN:
        deepest = float(np.nanmax(mine.depth_m[live]))
        return (
            f"too thin: {_length(deepest)} is the deepest a cast off and {_length(setting.need_m)} is needed"
            if deepest < setting.need_m
            else f"mostly too thin: {_length(setting.need_m)} is needed for draft, margin and depth error"
        )
    return f"no stretch keeps all rules: mostly {BREAKS[rule]}"


def why_none(
    bare: Sequence[int],
    structures: Geometries,
    marks: Marks,
    mark_row: Indices,
    setting: Setting,
    *,
    longest_m: Floats,
    least_length_m: float,
    follow_m: float | None,
) -> list[str]:
    """Say why structures have no hold line.

    Parameters
    ----------
    bare
        Rows of structures without a line.
    structures, marks, mark_row
        All structures, all marks, and the structure of each mark.
    setting
        The lake on the day and the rules.
    longest_m, least_length_m
        Longest piece of each structure, 0 where there is none, and what a line must be long.
    follow_m
        Today's depth of the isobath that was to be followed.
    """
    kinds = shapely.get_type_id(structures)
    # Marks on the wrong side or off the ends say nothing about the rules.
    telling = (marks.broken & (ENDS | OTHER_SIDE)) == 0
    if follow_m is not None:
        telling &= (marks.broken & TOO_FAR) == 0
    order = np.argsort(mark_row, kind="stable")
    bounds = np.searchsorted(mark_row[order], np.arange(len(structures) + 1))
    said = []
    for row in bare:
        mine = order[bounds[row] : bounds[row + 1]]
        if longest_m[row] > 0:
            said.append(
                f"the longest stretch that keeps all rules is {_length(longest_m[row])}; "
                f"{_length(least_length_m)} is the least wanted"
            )
            continue
        said.append(_why(int(kinds[row]), marks, mine[telling[mine]], setting, follow_m))
    return said
