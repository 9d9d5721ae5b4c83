"""Where straight lines over a lake cross its edge: what land hides, and how far the bank is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from ..proof.keep_out import edges_of

if TYPE_CHECKING:
    from ...arrays import Flags, Floats, Geometries, Indices


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
