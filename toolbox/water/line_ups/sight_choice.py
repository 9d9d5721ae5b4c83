"""Line-ups: which marks ashore tell a boat that it is back on its hold, and how closely."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from .fix_error import crossing_deg, lines_error_m, two_line_error_m
from .sights import Eyes, Sights, sights_from

if TYPE_CHECKING:
    from ...arrays import Floats
    from .sight_lines import SightShore


GOOD_CROSSING_DEG: Final = 60.0
"""Least crossing of a good line-up; 60 and 120 degrees are the same crossing (common practice)."""

_WEAK_CROSSING_DEG: Final = 20.0  # below this two lines are one
_SHARPEST: Final = 120  # sights that are paired with each other first
_MOST_SIGHTS: Final = 1500  # and when no two of those cross well
_TALL_M: Final = 18.0  # a wood's height: lower marks are lost in it


@dataclass(frozen=True, eq=False)
class LineUp:
    """The sights chosen for one place."""

    sights: Sights  # chosen, the best pair first; none where no two lines cross
    good: bool  # whether the first two cross at 60 to 120 degrees
    crossing_deg: float  # angle at which the first two cross, 0 to 90; NaN without a pair
    # radius of the position's error with all of the sights, and the bearing along which it is largest
    error_m: float
    worst_bearing_deg: float
    seen: int  # how many marks are in sight and within range
    # whether land on the sight lines was looked for; it is not from a place that is not on the water
    looked: bool = False


def _best_pair(sights: Sights, least_crossing_deg: float) -> tuple[int, int] | None:
    """Choose the two sights of different marks with the least error of position; None where none cross enough."""
    crossing = crossing_deg(sights.direction_deg[:, None], sights.direction_deg[None, :])
    error = two_line_error_m(sights.error_m[:, None], sights.error_m[None, :], crossing)
    shared = np.zeros(error.shape, dtype=np.bool_)
    for mine in (sights.front, sights.rear):
        for other in (sights.front, sights.rear):
            shared |= (mine[:, None] == other[None, :]) & (mine[:, None] >= 0)
    fits = np.triu(~shared, k=1) & (crossing >= least_crossing_deg - 1e-9) & np.isfinite(error)
    if not fits.any():
        return None
    at = int(np.where(fits, error, np.inf).argmin())
    return at // len(sights), at % len(sights)


def _more(sights: Sights, chosen: list[int], count: int) -> list[int]:
    """Add the sights that help most, each of marks not used yet."""
    chosen = list(chosen)
    while len(chosen) < count:
        used = set(sights.front[chosen].tolist()) | (set(sights.rear[chosen].tolist()) - {-1})
        free = [
            at
            for at in range(len(sights))
            if int(sights.front[at]) not in used and int(sights.rear[at]) not in used
        ]
        if not free:
            break
        with_each = [
            lines_error_m(sights.direction_deg[[*chosen, at]], sights.error_m[[*chosen, at]])[0]
            for at in free
        ]
        chosen.append(free[int(np.argmin(with_each))])
    return chosen


def choose_sights(sights: Sights, seen: int, count: int) -> LineUp:
    """Choose the line-up of a place from its sights.

    Parameters
    ----------
    sights
        All sights.
    seen
        How many marks they are of.
    count
        How many sights to choose, 2 or more.

    Returns
    -------
    The pair with the least error among those that cross at 60 to 120 degrees; among all that cross at 20 degrees
    or more where there is none such. Further sights are those that lower the error most.
    """
    sights = sights.taken(np.argsort(sights.error_m, kind="stable")[:_MOST_SIGHTS])
    pair, good = _best_pair(sights.taken(np.arange(min(_SHARPEST, len(sights)))), GOOD_CROSSING_DEG), True
    if pair is None and len(sights) > _SHARPEST:
        pair = _best_pair(sights, GOOD_CROSSING_DEG)
    if pair is None:
        pair, good = _best_pair(sights, _WEAK_CROSSING_DEG), False
    if pair is None:
        nothing = sights.taken(np.empty(0, dtype=np.intp))
        return LineUp(nothing, False, float("nan"), float("nan"), float("nan"), seen)
    chosen = sights.taken(np.array(_more(sights, list(pair), count), dtype=np.intp))
    error, worst = lines_error_m(chosen.direction_deg, chosen.error_m)
    crossing = float(crossing_deg(chosen.direction_deg[0], chosen.direction_deg[1]))
    return LineUp(chosen, good, crossing, error, worst, seen)


def line_ups(
    x: Floats,
    y: Floats,
    mark_x: Floats,
    mark_y: Floats,
    *,
    mark_error_m: Floats,
    mark_height_m: Floats,
    eyes: Eyes,
    count: int = 2,
    shore: SightShore | None = None,
) -> list[LineUp]:
    """Choose for each place the marks that tell it best.

    Parameters
    ----------
    x, y
        Places.
    mark_x, mark_y, mark_error_m, mark_height_m
        Marks, the error of their positions, and their heights above ground (NaN: low).
    eyes
        How well marks are seen.
    count
        Sights to choose for each place, 2 or more.
    shore
        Edge of the water, for what land hides; None: every mark counts as seen. Marks of 18 m and more are seen over
        any land.

    Returns
    -------
    One entry a place.
    """
    tree = shapely.STRtree(np.asarray(shapely.points(mark_x, mark_y), dtype=object))
    place, mark = tree.query(shapely.points(x, y), predicate="dwithin", distance=eyes.most_range_m)
    afloat = np.zeros(len(x), dtype=np.bool_) if shore is None else shore.afloat(x, y)
    if shore is not None and place.size:
        low = np.flatnonzero(~(mark_height_m[mark] >= _TALL_M) & afloat[place])
        dark = shore.hidden(x[place[low]], y[place[low]], mark_x[mark[low]], mark_y[mark[low]])
        lit = np.ones(len(place), dtype=np.bool_)
        lit[low[dark]] = False
        place, mark = place[lit], mark[lit]
    order = np.lexsort((mark, place))
    place, mark = place[order], mark[order]
    bounds = np.searchsorted(place, np.arange(len(x) + 1))
    found = []
    for row in range(len(x)):
        rows = mark[bounds[row] : bounds[row + 1]]
        sights = sights_from(mark_x[rows] - x[row], mark_y[rows] - y[row], mark_error_m[rows], rows, eyes)
        chosen = choose_sights(sights, int(np.count_nonzero(sights.rear < 0)), count)
        found.append(replace(chosen, looked=bool(afloat[row])))
    return found
