"""Line-ups: which marks ashore tell a boat that it is back on its hold, how closely, and what land hides."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from ..proof.keep_out import edges_of
from .sights import Eyes, Sights, crossing_deg, lines_error_m, sights_from, two_line_error_m

if TYPE_CHECKING:
    from ...arrays import Flags, Floats, Geometries, Indices

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

    def turned(self, by_deg: float) -> LineUp:
        """Give the same with all bearings turned, as from grid north to true north."""
        sights = replace(
            self.sights,
            bearing_deg=(self.sights.bearing_deg + by_deg) % 360.0,
            direction_deg=(self.sights.direction_deg + by_deg) % 360.0,
        )
        return replace(self, sights=sights, worst_bearing_deg=(self.worst_bearing_deg + by_deg) % 180.0)


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


_THIN_M: Final = 5.0  # land on a sight line that hides nothing: a bar, a rounded corner of the shoreline
_BANK_M: Final = 30.0  # land between the water and a low mark that is always looked over


class SightShore:
    """The edge of the water, ready to be crossed by lines.

    Parameters
    ----------
    water
        Polygons; islands are holes.
    """

    def __init__(self, water: Geometries) -> None:
        self._water = shapely.union_all(water)
        shapely.prepare(self._water)
        self._edges = edges_of(self._water)
        self._ends = shapely.get_coordinates(self._edges).reshape(-1, 2, 2)
        self._tree = shapely.STRtree(self._edges)

    def afloat(self, x: Floats, y: Floats) -> Flags:
        """Tell which places lie on the water or on its edge."""
        return np.asarray(shapely.intersects_xy(self._water, x, y))

    def off_water_m(self, x: Floats, y: Floats) -> Floats:
        """Distance of places from the water; 0 on it."""
        return np.asarray(shapely.distance(self._water, shapely.points(x, y)))

    def crossings(self, x0: Floats, y0: Floats, x1: Floats, y1: Floats) -> tuple[Indices, Floats]:
        """Find where lines cross the edge.

        Returns
        -------
        Row of the line, ascending, and how far along it, 0 to 1, ascending within a row. A line through a corner is
        told to cross once by each of the two edges that meet there, or by neither.
        """
        lines = shapely.linestrings(np.stack([x0, y0, x1, y1], axis=1).reshape(-1, 2, 2))
        row, edge = self._tree.query(lines, predicate="intersects")
        begin, way = self._ends[edge, 0], self._ends[edge, 1] - self._ends[edge, 0]
        course_x, course_y = (x1 - x0)[row], (y1 - y0)[row]
        to_x, to_y = begin[:, 0] - x0[row], begin[:, 1] - y0[row]
        across = course_x * way[:, 1] - course_y * way[:, 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            share = (to_x * way[:, 1] - to_y * way[:, 0]) / across
        # Half-open, so that a line through a corner does not count both edges when it passes from side to side.
        side = course_x * (begin[:, 1] - y0[row]) - course_y * (begin[:, 0] - x0[row])
        other = side + across
        real = np.isfinite(share) & ((side > 0) != (other > 0)) & (share >= 0) & (share <= 1)
        row, share = row[real], share[real]
        order = np.lexsort((share, row))
        return row[order], share[order]

    def hidden(self, x0: Floats, y0: Floats, x1: Floats, y1: Floats) -> Flags:
        """Tell which low marks land hides from a boat.

        Parameters
        ----------
        x0, y0
            Boats, on the water.
        x1, y1
            Marks, on land or on its edge.

        Returns
        -------
        True where more than five metres of land lie on the sight line before its last stretch, or where the mark stands
        behind more land than twice its distance from the water and thirty metres.

        Notes
        -----
        The lie of the land is not known: a hill or trees may hide more, a bare bank less.
        """
        row, share = self.crossings(x0, y0, x1, y1)
        length = np.hypot(x1 - x0, y1 - y0)
        count = np.bincount(row, minlength=len(x0))
        first = np.cumsum(count) - count
        number = np.arange(len(row)) - first[row]
        # From a boat afloat, land begins at every other crossing and ends at the next one or at the mark.
        begins = np.flatnonzero(number % 2 == 0)
        last = number[begins] + 1 >= count[row[begins]]
        stop = np.where(last, 1.0, share[np.minimum(begins + 1, len(share) - 1)] if len(share) else 1.0)
        land = (stop - share[begins]) * length[row[begins]]
        before, behind = np.zeros(len(x0)), np.zeros(len(x0))
        np.add.at(before, row[begins][~last], land[~last])
        np.add.at(behind, row[begins][last], land[last])
        return np.asarray((before > _THIN_M) | (behind > 2 * self.off_water_m(x1, y1) + _BANK_M))

    def bank_m(self, x: Floats, y: Floats, bearing_deg: Floats, reach_m: float) -> Floats:
        """Distance to the bank along bearings; NaN where it is farther than the reach or the place is not afloat."""
        turn = np.radians(bearing_deg)
        found = np.full(len(x), np.nan)
        known = np.flatnonzero(np.isfinite(turn) & self.afloat(x, y))
        if known.size:
            ends = x[known] + reach_m * np.sin(turn[known]), y[known] + reach_m * np.cos(turn[known])
            row, share = self.crossings(x[known], y[known], *ends)
            row, at = np.unique(row, return_index=True)
            found[known[row]] = share[at] * reach_m
        return found
